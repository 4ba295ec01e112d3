//! Wet leaves without a sensor: hours that are wet, and periods joined of
//! them.
//!
//! Wetness is estimated, so there are three readings of each hour: a low one
//! (rain, or humidity of 90 %), a likely one (wet until the dew dries) and a
//! high one. Where the infection line falls between the low and the high, the
//! answer is "possible". Right in 87 to 92 % of hours at four sites for the
//! humidity rule (Sentelhas and others 2008).

use crate::facts::weather::HourlyRecord;

// Magnus over water, Alduchov & Eskridge 1996.
const MAGNUS_A: f64 = 17.625;
const MAGNUS_B: f64 = 243.04;

/// Dew point in °C from temperature (°C) and relative humidity (%). Humidity
/// over 100 counts as 100. `None` at 0 % or below, or when an input is not
/// finite. Over water also below 0 °C.
pub fn dew_point_c(temperature_c: f64, humidity_pct: f64) -> Option<f64> {
    if !(temperature_c.is_finite() && humidity_pct.is_finite())
        || humidity_pct <= 0.0
        || temperature_c <= -MAGNUS_B
    {
        return None;
    }
    let gamma = (humidity_pct.min(100.0) / 100.0).ln()
        + MAGNUS_A * temperature_c / (MAGNUS_B + temperature_c);
    Some(MAGNUS_B * gamma / (MAGNUS_A - gamma))
}

/// Relative humidity in %, at most 100, from temperature and dew point (°C).
/// `None` when an input is not finite or out of the formula's reach.
pub fn humidity_pct(temperature_c: f64, dew_point_c: f64) -> Option<f64> {
    let in_reach = |t: f64| t.is_finite() && t > -MAGNUS_B;
    if !in_reach(temperature_c) || !in_reach(dew_point_c) {
        return None;
    }
    let power = |t: f64| MAGNUS_A * t / (MAGNUS_B + t);
    Some((100.0 * (power(dew_point_c) - power(temperature_c)).exp()).min(100.0))
}

/// When an hour is wet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WetRule {
    /// Rain above which an hour is wet, mm.
    pub rain_above_mm: f64,
    /// Humidity from which it is wet, %; a place may tune it to 87 to 92.
    pub humid_pct: f64,
    /// Humidity from which the high estimate has it wet, %.
    pub humid_high_pct: f64,
    /// Dew point depression up to which the high estimate starts, K.
    pub dew_starts_k: f64,
    /// Dew point depression from which a wet leaf is dry, K.
    pub dew_ends_k: f64,
    /// Temperature at and below which wetness is ice and infects nothing, °C.
    pub frozen_at_c: f64,
}

impl Default for WetRule {
    /// Any rain; 90 and 87 % (Sentelhas and others 2008; Ghahreman & Sahragard
    /// 2013); dew from 2.0 to 3.8 K (Huber & Gillespie 1992, thresholds from
    /// memory).
    fn default() -> Self {
        WetRule {
            rain_above_mm: 0.0,
            humid_pct: 90.0,
            humid_high_pct: 87.0,
            dew_starts_k: 2.0,
            dew_ends_k: 3.8,
            frozen_at_c: 0.0,
        }
    }
}

/// Which reading of wetness.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Estimate {
    /// Rain, or humidity at the threshold.
    Low,
    /// The same, and wet leaves stay wet until the dew dries.
    Likely,
    /// A lower humidity, or dew by its depression.
    High,
}

const LOW: u8 = 1;
const LIKELY: u8 = 2;
const HIGH: u8 = 4;
const RAIN: u8 = 8;
const UNKNOWN: u8 = 16;
const HUMID: u8 = 32;

impl Estimate {
    fn bit(self) -> u8 {
        match self {
            Estimate::Low => LOW,
            Estimate::Likely => LIKELY,
            Estimate::High => HIGH,
        }
    }
}

/// The wetness of every hour of a record, in all three readings.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WetHours {
    flags: Vec<u8>,
}

impl WetHours {
    /// Judges every hour of a record. Humidity comes from the dew point where
    /// it is not recorded itself. Frozen hours are not wet for infection. An
    /// hour without rain whose humidity is unknown is dry in the low and the
    /// likely reading, stays as it was in the high one, and is marked.
    pub fn of(record: &HourlyRecord, rule: &WetRule) -> Self {
        let mut before = 0u8;
        let flags = (0..record.len())
            .map(|hour| {
                let humidity = record.humidity_pct.get(hour);
                before = judge_hour(
                    record.temperature_c.get(hour),
                    humidity,
                    || record.dew_point_c.get(hour),
                    record.rain_mm.get(hour),
                    before,
                    rule,
                );
                before
            })
            .collect();
        WetHours { flags }
    }

    /// How many hours there are.
    pub fn len(&self) -> usize {
        self.flags.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.flags.is_empty()
    }

    fn has(&self, hour: usize, bit: u8) -> bool {
        self.flags.get(hour).is_some_and(|flags| flags & bit != 0)
    }

    /// Whether an hour is wet; `false` beyond the end.
    pub fn is_wet(&self, hour: usize, estimate: Estimate) -> bool {
        self.has(hour, estimate.bit())
    }

    /// Whether it rained in an hour.
    pub fn rained(&self, hour: usize) -> bool {
        self.has(hour, RAIN)
    }

    /// Whether nothing is known of an hour's wetness.
    pub fn is_unknown(&self, hour: usize) -> bool {
        self.has(hour, UNKNOWN)
    }

    /// Whether the air held 85 % or more: rust spores go on flying (Pearson,
    /// Seem & Meyer 1980).
    pub fn is_humid(&self, hour: usize) -> bool {
        self.has(hour, HUMID)
    }

    /// Wet hours in a span.
    pub fn count(&self, span: std::ops::Range<usize>, estimate: Estimate) -> usize {
        let bit = estimate.bit();
        let end = span.end.min(self.flags.len());
        self.flags.get(span.start..end).map_or(0, |flags| {
            flags.iter().filter(|flags| *flags & bit != 0).count()
        })
    }
}

/// Humidity from which rust spores go on flying, %.
const SPORES_FLY_PCT: f64 = 85.0;

fn judge_hour(
    temperature: Option<f64>,
    humidity: Option<f64>,
    dew_point: impl Fn() -> Option<f64>,
    rain: Option<f64>,
    before: u8,
    rule: &WetRule,
) -> u8 {
    let frozen = temperature.is_some_and(|t| t <= rule.frozen_at_c);
    let rained = rain.is_some_and(|mm| mm > rule.rain_above_mm);
    let mut dew = None;
    let humidity = humidity.or_else(|| {
        dew = dew_point();
        humidity_pct(temperature?, dew?)
    });
    let Some(humidity) = humidity else {
        return match (rained, frozen) {
            (true, false) => LOW | LIKELY | HIGH | RAIN,
            (true, true) => RAIN,
            (false, _) => UNKNOWN | (before & HIGH),
        };
    };
    let mut flags = if humidity >= SPORES_FLY_PCT { HUMID } else { 0 };
    if rained {
        flags |= RAIN;
    }
    if frozen {
        return flags;
    }
    if rained || humidity >= rule.humid_pct {
        return flags | LOW | LIKELY | HIGH;
    }
    if humidity >= rule.humid_high_pct {
        flags |= HIGH;
    }
    // Above freezing a depression below 3.8 K means 75.6 % or more, so most
    // dry hours need no logarithm. A rule that dries later looks always.
    const SURELY_DRY_PCT: f64 = 75.5;
    if humidity < SURELY_DRY_PCT
        && rule.dew_ends_k.max(rule.dew_starts_k) <= 3.8
        && rule.frozen_at_c >= 0.0
    {
        return flags;
    }
    let depression = temperature.and_then(|t| {
        let dew = dew.or_else(|| dew_point_c(t, humidity))?;
        Some(t - dew)
    });
    if let Some(depression) = depression {
        if depression <= rule.dew_starts_k {
            flags |= HIGH;
        }
        if depression < rule.dew_ends_k {
            flags |= before & (LIKELY | HIGH);
        }
    }
    flags
}

/// A wet period: wet hours joined over short dry breaks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WetPeriod {
    /// Index of its first wet hour.
    pub first: usize,
    /// Index of its last wet hour.
    pub last: usize,
    /// Wet hours in it; dry ones are not counted.
    pub wet_hours: usize,
    /// Mean temperature over the wet hours, °C, if any is known.
    pub mean_c: Option<f64>,
    /// Rain in it, mm.
    pub rain_mm: f64,
    /// Hours in it of whose wetness nothing is known.
    pub unknown_hours: usize,
    /// The data end before a dry break that would close it: so far.
    pub open: bool,
}

/// Joins wet hours into periods: a dry break of at least `gap_hours` ends one
/// (8 for scab, West Virginia Univ. table notes; the same is used for rust). A
/// gap of 0 counts as 1. The general form is that of Magarey, Sutton & Thayer
/// 2005, Phytopathology 95:92-100.
pub fn periods(
    record: &HourlyRecord,
    wet: &WetHours,
    estimate: Estimate,
    gap_hours: usize,
) -> Vec<WetPeriod> {
    let gap_hours = gap_hours.max(1);
    let bit = estimate.bit();
    let mut found = Vec::new();
    let mut now: Option<Gathering> = None;
    for (hour, &flags) in wet.flags.iter().enumerate() {
        if flags & bit == 0 {
            if let Some(one) = &mut now {
                one.unknown_since += usize::from(flags & UNKNOWN != 0);
                if hour - one.last >= gap_hours {
                    found.push(one.period(false));
                    now = None;
                }
            }
            continue;
        }
        let one = now.get_or_insert_with(|| Gathering::at(hour));
        one.last = hour;
        one.wet += 1;
        one.unknown += one.unknown_since + usize::from(flags & UNKNOWN != 0);
        one.unknown_since = 0;
        if let Some(t) = record.temperature_c.get(hour) {
            one.sum_c += t;
            one.known += 1;
        }
        if flags & RAIN != 0 {
            one.rain_mm += record.rain_mm.get(hour).unwrap_or(0.0);
        }
    }
    found.extend(now.map(|one| one.period(true)));
    found
}

struct Gathering {
    first: usize,
    last: usize,
    wet: usize,
    sum_c: f64,
    known: usize,
    rain_mm: f64,
    unknown: usize,
    unknown_since: usize,
}

impl Gathering {
    fn at(hour: usize) -> Self {
        Gathering {
            first: hour,
            last: hour,
            wet: 0,
            sum_c: 0.0,
            known: 0,
            rain_mm: 0.0,
            unknown: 0,
            unknown_since: 0,
        }
    }

    fn period(&self, open: bool) -> WetPeriod {
        WetPeriod {
            first: self.first,
            last: self.last,
            wet_hours: self.wet,
            mean_c: (self.known > 0).then(|| self.sum_c / self.known as f64),
            rain_mm: self.rain_mm,
            unknown_hours: self.unknown,
            open,
        }
    }
}

/// The first discriminant of the classification tree (calm air) of Kim,
/// Taylor, Gleason & Koehler 2002, Plant Disease 86:179-185; wet above
/// 14.4674. Temperature 0 °C or more, wind at 0.3 m in m/s below 2.5.
pub fn tree_calm(temperature_c: f64, humidity_pct: f64, wind_m_s: f64, depression_k: f64) -> f64 {
    1.6064 * temperature_c.max(0.0).sqrt()
        + 0.0036 * temperature_c * temperature_c
        + 0.1531 * humidity_pct
        - 0.4599 * wind_m_s * depression_k
        - 0.0035 * temperature_c * humidity_pct
}

/// Whether the classification tree has an hour wet. The branch for wind of
/// 2.5 m/s and more stays dry: all copies of its constants that were seen can
/// never be wet, so one of them is misprinted. Below 0 °C, or with an input
/// that is not a number, dry.
pub fn tree_is_wet(
    temperature_c: f64,
    humidity_pct: f64,
    wind_m_s: f64,
    depression_k: f64,
) -> bool {
    depression_k < 3.7
        && temperature_c >= 0.0
        && wind_m_s < 2.5
        && tree_calm(temperature_c, humidity_pct, wind_m_s, depression_k) > 14.4674
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::weather::Hour;
    use chrono::NaiveDate;

    fn near(value: f64, wanted: f64, within: f64) {
        assert!(
            (value - wanted).abs() <= within,
            "{value} instead of {wanted}"
        );
    }

    /// Hours of 15 °C with a humidity each.
    fn record(humidity: &[Option<f64>]) -> HourlyRecord {
        let midnight = NaiveDate::from_ymd_opt(2025, 5, 1)
            .unwrap()
            .and_hms_opt(0, 0, 0)
            .unwrap();
        let mut record = HourlyRecord::unknown(midnight, humidity.len());
        for (hour, humidity) in humidity.iter().enumerate() {
            record.put(Hour {
                start: record.start(hour),
                temperature_c: Some(15.0),
                dew_point_c: None,
                humidity_pct: *humidity,
                rain_mm: Some(0.0),
                wind_m_s: None,
            });
        }
        record
    }

    fn pattern(runs: &[(usize, bool)]) -> HourlyRecord {
        let humidity: Vec<Option<f64>> = runs
            .iter()
            .flat_map(|&(n, wet)| std::iter::repeat_n(Some(if wet { 95.0 } else { 50.0 }), n))
            .collect();
        record(&humidity)
    }

    /// reference/algorithms.md 9.1 and model_check_values dp-01 to dp-03.
    #[test]
    fn dew_point_both_ways() {
        for (t, rh, dew) in [
            (20.0, 90.0, 18.3091),
            (20.0, 50.0, 9.2611),
            (5.0, 90.0, 3.4959),
            (-5.0, 95.0, -5.6766),
        ] {
            near(dew_point_c(t, rh).unwrap(), dew, 6e-5);
            near(humidity_pct(t, dew).unwrap(), rh, 1e-3);
        }
        near(dew_point_c(12.0, 100.0).unwrap(), 12.0, 1e-12);
        near(dew_point_c(12.0, 110.0).unwrap(), 12.0, 1e-12);
        assert_eq!(dew_point_c(12.0, 0.0), None);
        assert_eq!(dew_point_c(-300.0, 50.0), None);
        assert_eq!(humidity_pct(f64::NAN, 1.0), None);
        for (t, d, rh) in [(5.0, 2.0, 86.9), (15.0, 2.0, 87.8), (25.0, 3.8, 79.5)] {
            near(humidity_pct(t, t - d).unwrap(), rh, 0.05);
        }
    }

    /// reference/algorithms.md 9.4.
    #[test]
    fn joining_over_dry_breaks() {
        let hours = pattern(&[
            (5, true),
            (3, false),
            (4, true),
            (8, false),
            (2, true),
            (4, false),
        ]);
        let wet = WetHours::of(&hours, &WetRule::default());
        let joined = |gap| -> Vec<(usize, usize, usize)> {
            periods(&hours, &wet, Estimate::Low, gap)
                .iter()
                .map(|p| (p.first, p.last, p.wet_hours))
                .collect()
        };
        assert_eq!(joined(4), [(0, 11, 9), (20, 21, 2)]);
        assert_eq!(joined(8), [(0, 11, 9), (20, 21, 2)]);
        assert_eq!(joined(9), [(0, 21, 11)]);
        assert_eq!(joined(3).iter().map(|p| p.2).collect::<Vec<_>>(), [5, 4, 2]);
        let all = periods(&hours, &wet, Estimate::Low, 8);
        assert!(
            !all[0].open && all[1].open,
            "four dry hours do not close it"
        );
        near(all[0].mean_c.unwrap(), 15.0, 1e-9);
        let dry = pattern(&[(30, false)]);
        assert!(
            periods(
                &dry,
                &WetHours::of(&dry, &WetRule::default()),
                Estimate::High,
                8
            )
            .is_empty()
        );
    }

    #[test]
    fn the_three_readings_and_what_is_unknown() {
        // 88 % at 15 °C is 1.96 K of depression, 80 % is 3.4, 75 % is 4.4.
        let hours = record(&[
            Some(80.0),
            Some(88.0),
            Some(91.0),
            Some(80.0),
            Some(75.0),
            Some(80.0),
            None,
        ]);
        let wet = WetHours::of(&hours, &WetRule::default());
        let read = |estimate| -> Vec<bool> { (0..7).map(|h| wet.is_wet(h, estimate)).collect() };
        assert_eq!(
            read(Estimate::Low),
            [false, false, true, false, false, false, false]
        );
        assert_eq!(
            read(Estimate::Likely),
            [false, false, true, true, false, false, false]
        );
        assert_eq!(
            read(Estimate::High),
            [false, true, true, true, false, false, false]
        );
        assert!(wet.is_unknown(6) && !wet.is_unknown(5));
        assert!(wet.is_humid(1) && !wet.is_humid(0));
        assert_eq!(wet.count(0..99, Estimate::High), 3);
    }

    #[test]
    fn rain_is_wet_and_ice_is_not() {
        let mut hours = record(&[Some(50.0), Some(50.0), None]);
        hours.rain_mm.set(0, Some(0.2));
        hours.rain_mm.set(1, Some(0.2));
        hours.temperature_c.set(1, Some(-1.0));
        hours.rain_mm.set(2, Some(0.2));
        let wet = WetHours::of(&hours, &WetRule::default());
        assert!(wet.is_wet(0, Estimate::Low));
        assert!(!wet.is_wet(1, Estimate::High) && wet.rained(1));
        assert!(wet.is_wet(2, Estimate::Low), "rain needs no humidity");
    }

    /// reference/algorithms.md 9.3 and model_check_values lw-01 to lw-05.
    #[test]
    fn the_classification_tree() {
        let depression = |t: f64, rh: f64| t - dew_point_c(t, rh).unwrap();
        for (t, rh, wind, wanted, wet) in [
            (15.0, 95.0, 1.0, 16.2230, true),
            (15.0, 80.0, 1.0, 13.5055, false),
            (15.0, 90.0, 1.0, 15.34, true),
            (15.0, 85.0, 1.0, 14.43, false),
            (20.0, 88.0, 1.5, 14.52, true),
        ] {
            let d = depression(t, rh);
            near(tree_calm(t, rh, wind, d), wanted, 6e-3);
            assert_eq!(tree_is_wet(t, rh, wind, d), wet, "{t} {rh}");
        }
        assert!(!tree_is_wet(15.0, 60.0, 1.0, 7.7033));
        assert!(!tree_is_wet(15.0, 95.0, 4.0, 0.79));
        assert!(!tree_is_wet(f64::NAN, 95.0, 1.0, 0.79));
    }
}
