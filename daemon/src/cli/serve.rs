//! Runs the service until it is told to end.

use std::time::Duration;

use clap::Args;
use sd_notify::NotifyState;
use serde_json::json;
use tokio::signal::unix::{Signal, SignalKind, signal};

use super::check::refused;
use super::{ConfigArgs, print};
use crate::assembly::assemble;
use crate::exit::{Ended, Exit};
use crate::run::run;
use crate::settings::Listen;

#[derive(Debug, Args)]
pub(super) struct Serve {
    #[command(flatten)]
    config: ConfigArgs,
    /// Print for programs: one JSON object a line.
    #[arg(long)]
    json: bool,
}

/// How long an ending service may take before it gives up out loud: heat is cut in the first tick, the rest is the record.
const GRACE: Duration = Duration::from_secs(15);

impl Serve {
    pub(super) fn run(self) -> Result<(), Ended> {
        logging("info");
        let assembly = assemble(&self.config.sources()).map_err(|problems| refused(&problems, self.json))?;
        // Faces and nothing else: the core, the guests, the lines and the record have threads of their own.
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).thread_name("face").enable_all().build();
        let runtime = runtime.map_err(|error| Ended::new(Exit::Failed, format!("no runtime could be started: {error}")))?;
        runtime.block_on(async {
            let mut terminate = signal(SignalKind::terminate()).map_err(|error| Ended::new(Exit::Failed, error.to_string()))?;
            let stop = async move {
                tokio::select! {
                    _ = tokio::signal::ctrl_c() => {}
                    _ = terminate.recv() => {}
                }
                tracing::info!("told to end: cutting heat, leaving gas as it is");
                tell_manager(NotifyState::Stopping);
                tokio::spawn(give_up(terminate));
            };
            let listening = |address: &Listen| {
                let at = address.to_string();
                let said =
                    print::line(if self.json { json!({ "listening": at }).to_string() } else { format!("listening on {at}") });
                // Furnaces are looked after whether or not anybody reads where.
                if let Err(ended) = said {
                    tracing::warn!(address = at, why = ended.words, "nobody could be told where the service listens");
                }
                tell_manager(NotifyState::Ready);
            };
            run(assembly, stop, listening).await
        })
    }
}

/// Tells the service manager, if there is one that wants to know.
fn tell_manager(state: NotifyState<'_>) {
    // Furnaces are looked after whether or not it can be told; what it does about silence its unit says.
    if let Err(error) = sd_notify::notify(&[state]) {
        tracing::warn!(%error, "the service manager could not be told");
    }
}

/// Ends the process when ending in order takes too long, or at once on a second signal.
async fn give_up(mut terminate: Signal) {
    let again = "ended at once on a second signal; look at the furnaces now";
    tokio::select! {
        () = tokio::time::sleep(GRACE) => tracing::error!("ending in order took longer than {GRACE:?}; look at the furnaces now"),
        _ = tokio::signal::ctrl_c() => tracing::error!("{again}"),
        _ = terminate.recv() => tracing::error!("{again}"),
    }
    std::process::exit(Exit::Failed as i32);
}

/// The log goes to standard error, so that standard output stays for data.
pub(super) fn logging(usual: &str) {
    let filter = tracing_subscriber::EnvFilter::try_from_default_env().unwrap_or_else(|_| usual.into());
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).with_ansi(false);
    // A log that cannot be written must not be complained about on the same full disk: that would panic.
    log.log_internal_errors(false).init();
}
