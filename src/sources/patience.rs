//! How often and how long to wait: growing pauses with jitter, and what
//! `Retry-After` asks for.

use chrono::{DateTime, NaiveDateTime, Utc};
use std::time::Duration;

/// How often a request is tried, and the pauses between.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Patience {
    /// Tries in all, at least one.
    pub tries: u32,
    /// The first pause.
    pub first: Duration,
    /// Each further pause is so many times as long.
    pub growth: u32,
    /// A longer wait is not waited for: the error hands it to the caller.
    pub longest: Duration,
}

impl Patience {
    /// For a service in the background: about 5 s, 30 s and 2 min, as the
    /// US service's users found fit (reference: weather-sources 2.7).
    pub const BACKGROUND: Patience = Patience {
        tries: 4,
        first: Duration::from_secs(5),
        growth: 5,
        longest: Duration::from_secs(150),
    };

    /// For someone who sits and waits.
    pub const AT_ONCE: Patience = Patience {
        tries: 3,
        first: Duration::from_secs(1),
        growth: 4,
        longest: Duration::from_secs(70),
    };

    /// The pause after try number `attempt` (from 1), with a `share` of jitter
    /// from 0 to 1. It is never shorter than what the other side `asked` for.
    /// `None` when it would be too long to wait for.
    pub fn pause(&self, attempt: u32, asked: Option<Duration>, share: f64) -> Option<Duration> {
        let share = share.clamp(0.0, 1.0);
        if let Some(asked) = asked {
            let extra = asked.min(Duration::from_secs(30)).mul_f64(0.2 * share);
            return (asked <= self.longest).then(|| asked + extra);
        }
        let grown = self
            .growth
            .max(1)
            .saturating_pow(attempt.saturating_sub(1).min(16));
        let pause = self.first.saturating_mul(grown).min(self.longest);
        Some(pause.mul_f64(0.75 + 0.5 * share))
    }
}

/// Shares from 0 to 1 from a seed (splitmix64): enough to keep many
/// installations from asking in step, no use for secrets.
#[derive(Clone, Copy, Debug)]
pub struct Jitter(u64);

impl Jitter {
    /// Shares that follow from `seed`.
    pub fn new(seed: u64) -> Self {
        Jitter(seed)
    }

    /// The next share, 0 to below 1.
    pub fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^= mixed >> 31;
        (mixed >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// What a `Retry-After` header asks for: seconds, or a date read against the
/// reply's own `Date`. A date without a `Date` beside it says nothing.
pub fn retry_after(header: &str, date: Option<DateTime<Utc>>) -> Option<Duration> {
    let header = header.trim();
    if !header.is_empty() && header.bytes().all(|byte| byte.is_ascii_digit()) {
        return Some(Duration::from_secs(header.parse().unwrap_or(u64::MAX / 4)));
    }
    let until = http_date(header)?;
    let seconds = (until - date?).num_seconds().max(0);
    u64::try_from(seconds).ok().map(Duration::from_secs)
}

/// Reads a date as HTTP writes it (RFC 9110, 5.6.7): the usual form and the
/// two old ones.
pub fn http_date(text: &str) -> Option<DateTime<Utc>> {
    let text = text.trim();
    if let Ok(date) = DateTime::parse_from_rfc2822(text) {
        return Some(date.to_utc());
    }
    let usual = |text: &str, form: &str| {
        NaiveDateTime::parse_from_str(text, form)
            .ok()
            .map(|date| date.and_utc())
    };
    // The two-digit year of the second form is chrono's: 69 to 99 are 19xx.
    usual(text, "%A, %d-%b-%y %H:%M:%S GMT").or_else(|| usual(text, "%a %b %e %H:%M:%S %Y"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_grow_and_have_an_end() {
        let patience = Patience::BACKGROUND;
        let seconds = |attempt, share| patience.pause(attempt, None, share).unwrap().as_secs_f64();
        assert_eq!(seconds(1, 0.5), 5.0);
        assert_eq!(seconds(2, 0.5), 25.0);
        assert_eq!(seconds(3, 0.0), 93.75);
        assert_eq!(seconds(9, 0.5), 150.0, "no longer than the longest");
        let asked = Some(Duration::from_secs(60));
        let pause = patience.pause(1, asked, 0.0).unwrap();
        assert_eq!(pause, Duration::from_secs(60), "never earlier than asked");
        let day = Some(Duration::from_secs(86_400));
        assert_eq!(patience.pause(1, day, 0.0), None);
    }

    #[test]
    fn jitter_follows_from_the_seed() {
        let shares = |seed| {
            let mut jitter = Jitter::new(seed);
            [jitter.share(), jitter.share(), jitter.share()]
        };
        assert_eq!(shares(7), shares(7));
        assert_ne!(shares(7), shares(8));
        assert!(shares(7).iter().all(|share| (0.0..1.0).contains(share)));
    }

    /// The three forms of RFC 9110 name the same instant.
    #[test]
    fn reads_the_dates_of_http() {
        let instant = http_date("Sun, 06 Nov 1994 08:49:37 GMT").unwrap();
        assert_eq!(instant.timestamp(), 784_111_777);
        for form in ["Sunday, 06-Nov-94 08:49:37 GMT", "Sun Nov  6 08:49:37 1994"] {
            assert_eq!(http_date(form), Some(instant), "{form}");
        }
        assert_eq!(http_date("soon"), None);
        assert_eq!(retry_after("120", None), Some(Duration::from_secs(120)));
        let later = "Sun, 06 Nov 1994 08:51:37 GMT";
        assert_eq!(
            retry_after(later, Some(instant)),
            Some(Duration::from_secs(120))
        );
        assert_eq!(retry_after(later, None), None, "no clock to read it by");
        assert_eq!(
            retry_after("Sun, 06 Nov 1994 08:40:00 GMT", Some(instant)),
            Some(Duration::ZERO)
        );
        assert!(retry_after("99999999999999999999999", None).is_some());
    }
}
