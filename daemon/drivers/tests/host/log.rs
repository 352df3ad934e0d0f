//! What the host logs, for the tests that read it.

use std::sync::{Arc, LazyLock, Mutex};

use tracing_subscriber::filter::LevelFilter;

/// The log of all tests of this binary.
#[derive(Clone, Default)]
pub(crate) struct Log(Arc<Mutex<Vec<u8>>>);

impl Log {
    /// Begins to write it, once. The guests' threads are the host's own, so it has to be everybody's; other tests only add lines to it.
    pub(crate) fn of_all_tests() -> Self {
        static LOG: LazyLock<Log> = LazyLock::new(|| {
            let log = Log::default();
            let writer = log.clone();
            let subscriber = tracing_subscriber::fmt().with_max_level(LevelFilter::DEBUG).with_ansi(false);
            let subscriber = subscriber.with_writer(move || writer.clone()).finish();
            tracing::subscriber::set_global_default(subscriber).expect("nobody else writes a log here");
            log
        });
        LOG.clone()
    }

    /// What was written so far.
    pub(crate) fn so_far(&self) -> String {
        String::from_utf8_lossy(&self.0.lock().expect("the log")).into_owned()
    }
}

impl std::io::Write for Log {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().expect("the log").extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}
