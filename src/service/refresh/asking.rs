//! One round at work: each source asked for what is due.

use super::due::{self, Job, pause_after_failure};
use super::served::{Asked, Served};
use super::{Fetcher, RefreshFault, Refreshed, Step, Wanted, keep};
use crate::sources::{SourceError, Span, Why};
use crate::store::weather::WeatherStore;
use crate::store::{FetchState, StoreError};
use chrono::{DateTime, Datelike, Days, NaiveDate, TimeDelta, Utc};
use std::ops::ControlFlow;

/// Past years in one round of the service, so that it looks up between.
const YEARS_A_ROUND: usize = 3;

/// Days that are read again every day: the last ones are revised (reference:
/// weather-sources 1.7 names 7 to 10).
const UNSETTLED_DAYS: u64 = 12;

/// Days back for which reports of stations are asked for (reference:
/// weather-sources 2.2: kept about a week there).
const REPORT_DAYS: u64 = 6;

/// One round at work.
pub(super) struct Round<'r> {
    pub(super) fetcher: &'r Fetcher,
    pub(super) store: &'r mut WeatherStore,
    pub(super) now: DateTime<Utc>,
    pub(super) wanted: Wanted,
    pub(super) today: NaiveDate,
    pub(super) progress: &'r mut dyn FnMut(&Step<'_>) -> ControlFlow<()>,
    pub(super) done: Refreshed,
}

/// How a job ended.
enum Ended {
    /// All of it.
    Done,
    /// Some of it; the rest is due at once.
    Part,
}

/// Why a job ended early.
enum Trouble {
    Source(SourceError),
    Store(StoreError),
}

impl From<SourceError> for Trouble {
    fn from(error: SourceError) -> Self {
        Trouble::Source(error)
    }
}

impl From<StoreError> for Trouble {
    fn from(error: StoreError) -> Self {
        Trouble::Store(error)
    }
}

impl Round<'_> {
    /// What services said of another place, or by another model, is of no use
    /// here. Files of the keeper's own stay.
    pub(super) fn forget_other_place(&mut self) -> Result<(), StoreError> {
        const NOTE: &str = "place";
        let place = &self.fetcher.place;
        let here = format!(
            "{:.2} {:.2} {:.0} {}",
            place.latitude,
            place.longitude,
            place.elevation_m.unwrap_or(f64::NAN),
            self.fetcher
                .settings
                .open_meteo
                .model
                .as_deref()
                .unwrap_or("")
        );
        let before = self.store.recall(NOTE)?;
        if before.as_deref() == Some(here.as_str()) {
            return Ok(());
        }
        if before.is_some() {
            for served in &self.fetcher.served {
                if served.is_for_the_place() {
                    self.done.moved |= self.store.forget(served.name())?;
                    self.store.forget_fetching(served.name())?;
                }
            }
        }
        self.store.remember(NOTE, &here)
    }

    pub(super) fn ask(&mut self, served: &Served) -> Result<(), StoreError> {
        for &job in served.jobs() {
            let state = self.store.fetch_state(served.name(), job.word())?;
            let due = state.next.is_none_or(|next| next <= self.now);
            // A clock that was put back must not silence a source for long.
            let adrift = state
                .next
                .is_some_and(|next| next > self.now + TimeDelta::days(8));
            let forced = self.wanted == Wanted::All
                && (!job.is_rare() || state.failures > 0 || state.succeeded.is_none());
            if !(due || adrift || forced) {
                continue;
            }
            if self.stopped() {
                return Ok(());
            }
            let before = self.done.clone();
            match self.one(served, job, state.clone()) {
                Ok(ended) => self.succeeded(served, job, &ended)?,
                Err(Trouble::Store(error)) => {
                    self.done = before;
                    return Err(error);
                }
                Err(Trouble::Source(SourceError::Stopped)) => {
                    self.done.stopped = true;
                    return Ok(());
                }
                // It has no such thing: not to be asked again soon.
                Err(Trouble::Source(SourceError::NotOffered { .. })) => {
                    self.succeeded(served, job, &Ended::Done)?;
                }
                Err(Trouble::Source(error)) => {
                    let next = self.failed(served, job, &error)?;
                    if is_of_the_way(&error) {
                        self.defer(served, next)?;
                        break;
                    }
                }
            }
        }
        Ok(())
    }

    fn stopped(&mut self) -> bool {
        self.done.stopped |= self.fetcher.stop.is_set();
        self.done.stopped
    }

    fn step(&mut self, step: &Step<'_>) -> Result<(), Trouble> {
        if (self.progress)(step).is_break() || self.stopped() {
            return Err(Trouble::Source(SourceError::Stopped));
        }
        Ok(())
    }

    /// One job of one source.
    fn one(&mut self, served: &Served, job: Job, state: FetchState) -> Result<Ended, Trouble> {
        let back = |days: u64| self.today.checked_sub_days(Days::new(days));
        let from = |days: u64| Span {
            first: back(days).unwrap_or(self.today),
            last: self.today,
        };
        let whole = |span: Option<Span>| Step {
            source: served.name(),
            job,
            span,
            done: 0,
            of: 1,
        };
        match (&served.asked, job) {
            (Asked::Files(files), _) => {
                self.step(&whole(None))?;
                self.files(served, files)?;
            }
            (Asked::Service(source), Job::Forecast) => {
                self.step(&whole(None))?;
                let forecast = source.forecast(&self.fetcher.place, self.now)?;
                self.store.put_forecast(&forecast, self.now)?;
                self.done.forecast = true;
            }
            (Asked::Service(source), Job::Alerts) => {
                self.step(&whole(None))?;
                let alerts = source.alerts(&self.fetcher.place, self.now)?;
                self.store.put_alerts(served.name(), &alerts, self.now)?;
            }
            (_, Job::Now) if served.has_reports() => {
                // Yesterday again on the first look of a day: it is whole now.
                let mut span = from(REPORT_DAYS);
                if let Some((_, last)) = state.span {
                    span.first = span.first.max(last).min(self.today);
                }
                self.seen(served, job, span, true)?;
            }
            (_, Job::Now) => self.seen(served, job, from(1), true)?,
            (_, Job::Settle) => {
                let history = self.store.fetch_state(served.name(), Job::History.word())?;
                let mut span = from(UNSETTLED_DAYS);
                let known = state.span.or(history.span).map(|(_, last)| last);
                if let Some(known) = known {
                    span.first = span.first.min(known);
                }
                self.seen(served, job, span, true)?;
            }
            (_, Job::History) => return self.history(served, state),
            (_, Job::Files) => {}
        }
        Ok(Ended::Done)
    }

    /// What a source saw of a span, kept part by part.
    fn seen(&mut self, served: &Served, job: Job, span: Span, mark: bool) -> Result<(), Trouble> {
        let Asked::Service(source) = &served.asked else {
            return Ok(());
        };
        // Past years were told of one by one.
        if job != Job::History || served.comes_whole() {
            self.step(&Step {
                source: served.name(),
                job,
                span: Some(span),
                done: 0,
                of: 1,
            })?;
        }
        let mut trouble = None;
        let place = self.fetcher.place.clone();
        let told = source.observed(&place, span, self.now, &mut |part| {
            let kept = keep::part(self.store, served.name(), part, &place, &mut self.done);
            if let Err(error) = kept {
                trouble = Some(error);
                return ControlFlow::Break(());
            }
            if self.stopped() {
                return ControlFlow::Break(());
            }
            ControlFlow::Continue(())
        });
        if let Some(error) = trouble {
            return Err(Trouble::Store(error));
        }
        told?;
        if mark {
            let mut state = self.store.fetch_state(served.name(), job.word())?;
            state.span = Some((span.first, span.last));
            self.store.put_fetch_state(&state)?;
        }
        Ok(())
    }

    /// Past years, the newest first, from where the last round ended.
    fn history(&mut self, served: &Served, mut state: FetchState) -> Result<Ended, Trouble> {
        let oldest_year = self.today.year() - self.fetcher.settings.years as i32;
        let Some(oldest) = NaiveDate::from_ymd_opt(oldest_year, 1, 1) else {
            return Ok(Ended::Done);
        };
        if served.comes_whole() {
            let span = Span {
                first: oldest,
                last: self.today,
            };
            self.seen(served, Job::History, span, true)?;
            return Ok(Ended::Done);
        }
        let of = usize::try_from(self.today.year() - oldest_year + 1).unwrap_or(1);
        let mut asked = 0;
        loop {
            let last = match state.span {
                None => self.today,
                Some((first, _)) if first <= oldest => return Ok(Ended::Done),
                Some((first, _)) => first.pred_opt().unwrap_or(first),
            };
            if asked >= YEARS_A_ROUND && self.wanted == Wanted::Due {
                return Ok(Ended::Part);
            }
            let first = NaiveDate::from_ymd_opt(last.year(), 1, 1).unwrap_or(last);
            let span = Span { first, last };
            self.step(&Step {
                source: served.name(),
                job: Job::History,
                span: Some(span),
                done: usize::try_from(self.today.year() - last.year()).unwrap_or(0),
                of,
            })?;
            self.seen(served, Job::History, span, false)?;
            let newest = state.span.map_or(last, |(_, newest)| newest);
            state.span = Some((first, newest));
            self.store.put_fetch_state(&state)?;
            asked += 1;
            if first > oldest
                && let Asked::Service(source) = &served.asked
            {
                self.fetcher.client.sleep(source.pause_after(span))?;
            }
        }
    }

    /// The files of the keeper's own station that changed.
    fn files(
        &mut self,
        served: &Served,
        files: &crate::sources::watched::Watched,
    ) -> Result<(), Trouble> {
        // A store begun anew, for damage or because the keeper removed it, has
        // nothing of what was read before.
        let note = format!("files {}", served.name());
        if self.store.recall(&note)?.is_none() {
            files.forget();
            self.store.remember(&note, "read")?;
        }
        let mut failed = None;
        for news in files.look(&self.fetcher.place, self.now)? {
            match news.into_part(&self.fetcher.place, self.now) {
                Ok(Some(part)) => {
                    let place = &self.fetcher.place;
                    keep::part(self.store, served.name(), part, place, &mut self.done)?;
                }
                Ok(None) => {}
                Err(error) => failed = Some(error),
            }
        }
        failed.map_or(Ok(()), |error| Err(Trouble::Source(error)))
    }

    fn succeeded(&mut self, served: &Served, job: Job, ended: &Ended) -> Result<(), StoreError> {
        let mut state = self.store.fetch_state(served.name(), job.word())?;
        let cold = job == Job::Alerts && self.is_cold()?;
        let share = due::share(self.fetcher.seed, self.now);
        state.succeeded = Some(self.now);
        state.tried = Some(self.now);
        state.failures = 0;
        state.error = None;
        state.next = Some(match ended {
            Ended::Part => self.now,
            Ended::Done => {
                self.now + due::pause(job, self.fetcher.settings.every_hours, cold, share)
            }
        });
        self.store.put_fetch_state(&state)
    }

    /// What else of a source is due waits as long: it would fail as well.
    fn defer(&mut self, served: &Served, next: DateTime<Utc>) -> Result<(), StoreError> {
        for job in served.jobs() {
            let mut state = self.store.fetch_state(served.name(), job.word())?;
            if state.next.is_none_or(|due| due <= self.now) {
                state.next = Some(next);
                state.failures = state.failures.max(1);
                self.store.put_fetch_state(&state)?;
            }
        }
        Ok(())
    }

    /// Notes a failure; says when the job is tried again.
    fn failed(
        &mut self,
        served: &Served,
        job: Job,
        error: &SourceError,
    ) -> Result<DateTime<Utc>, StoreError> {
        let mut state = self.store.fetch_state(served.name(), job.word())?;
        state.failures = state.failures.saturating_add(1);
        state.tried = Some(self.now);
        let text = error.to_string();
        state.error = Some(text.clone());
        let share = due::share(self.fetcher.seed, self.now);
        let next = self.now + pause_after_failure(error, state.failures, share);
        state.next = Some(next);
        self.store.put_fetch_state(&state)?;
        self.done.faults.push(RefreshFault {
            source: served.name().to_owned(),
            job,
            text,
            tell: error.tell(),
            next,
        });
        Ok(next)
    }

    /// Whether a cold night is near: a warning holds, or a forecast has one.
    fn is_cold(&self) -> Result<bool, StoreError> {
        if !self.store.alerts(self.now)?.is_empty() {
            return Ok(true);
        }
        let forecasts = self.store.forecast_on(self.today, &[])?;
        let tomorrow = self.today.succ_opt().unwrap_or(self.today);
        Ok(forecasts.is_some_and(|forecast| {
            [self.today, tomorrow].iter().any(|day| {
                let low = forecast.daily.day(*day).and_then(|day| day.low_c);
                low.is_some_and(|low| low <= due::COLD_C)
            })
        }))
    }
}

/// Whether nothing else of the same source will come through either.
fn is_of_the_way(error: &SourceError) -> bool {
    let Some(failure) = error.failure() else {
        return false;
    };
    matches!(
        failure.why,
        Why::NoHost
            | Why::Connection(_)
            | Why::Slow(_)
            | Why::Certificate(_)
            | Why::Tls(_)
            | Why::TooLarge { .. }
            | Why::Redirect(_)
            | Why::WebPage
            | Why::Status { code: 429, .. }
    )
}
