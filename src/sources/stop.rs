//! A word to stop that reaches whoever waits, at once and without any looking
//! in between: the service sleeps through the pause after a refused request.

use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::Duration;

/// Copies share the word.
#[derive(Clone, Debug, Default)]
pub struct Stop(Arc<(Mutex<bool>, Condvar)>);

impl Stop {
    /// Says it. It cannot be taken back.
    pub fn set(&self) {
        let (said, waiting) = &*self.0;
        *said.lock().unwrap_or_else(PoisonError::into_inner) = true;
        waiting.notify_all();
    }

    /// Whether it was said.
    pub fn is_set(&self) -> bool {
        *self.0.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits until it is said, at most so long; whether it was.
    pub fn wait(&self, most: Duration) -> bool {
        let (said, waiting) = &*self.0;
        let held = said.lock().unwrap_or_else(PoisonError::into_inner);
        let waited = waiting.wait_timeout_while(held, most, |said| !*said);
        let (said, _) = waited.unwrap_or_else(PoisonError::into_inner);
        *said
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::thread;

    #[test]
    fn the_word_reaches_a_thread_that_waits() {
        let stop = Stop::default();
        assert!(!stop.wait(Duration::from_millis(1)));
        let other = stop.clone();
        let waiting = thread::spawn(move || other.wait(Duration::from_secs(3600)));
        stop.set();
        assert!(waiting.join().unwrap(), "an hour's wait ends");
        assert!(stop.is_set() && stop.wait(Duration::ZERO));
    }
}
