//! A deadline that is kept from call to call, so that a call within its time costs no timer.
//!
//! Setting a timer wakes the thread that waits for sockets, which costs more than a whole exchange with a sandboxed driver. Nearly
//! all calls end long before their time; an alarm that is set too early for this call is left as it is, and set anew only when it
//! goes off.

use std::pin::Pin;

use tokio::time::{Instant, Sleep, sleep_until};

/// The alarm.
#[derive(Debug, Default)]
pub(crate) struct Alarm(Option<Pin<Box<Sleep>>>);

impl Alarm {
    /// Waits until then. May be dropped at any time, and is cheap when it is.
    pub(crate) async fn at(&mut self, then: Instant) {
        let sleep = self.0.get_or_insert_with(|| Box::pin(sleep_until(then)));
        if sleep.deadline() > then || sleep.is_elapsed() {
            sleep.as_mut().reset(then);
        }
        loop {
            sleep.as_mut().await;
            if Instant::now() >= then {
                return;
            }
            sleep.as_mut().reset(then);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    /// Goal: it never goes off before its time, whether the last time asked for was earlier, later, or has passed.
    #[tokio::test]
    async fn it_is_never_early() {
        let mut alarm = Alarm::default();
        for millis in [1, 3, 0, 2] {
            let then = Instant::now() + Duration::from_millis(millis);
            alarm.at(then).await;
            assert!(Instant::now() >= then);
            // Asked for and not waited for.
            let far = tokio::time::timeout(Duration::from_millis(1), alarm.at(then + Duration::from_secs(3600))).await;
            assert!(far.is_err());
        }
    }
}
