//! The start-up order, the same for the service and the demo: standing cuts, record, core, equipment.

use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{SyncSender, TrySendError};
use std::time::Duration;

use hearthward_drivers::{Host, ShopClock, send_standing};
use hearthward_equipment::ShopMs;
use hearthward_journal::{Journal, Names, OpenOptions, Opened, Reader, StandingRow};
use hearthward_supervise::observe::Observation;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::view::View;
use hearthward_supervise::{Away, STANDING_FORMAT, Shop, Standing};
use tokio::sync::watch;

use crate::assembly::Assembly;
use crate::exit::{Ended, Exit};
use crate::shop::{Core, CoreParts, Input, ToldByJournal, Views, inbox, wall_ms};

/// A shop that stands ready to turn.
pub struct Started {
    /// The core, not yet on its thread.
    pub core: Core,
    /// The equipment.
    pub host: Arc<Host>,
    /// The record, for reading.
    pub reader: Reader,
    /// The way to the core.
    pub inbox: SyncSender<Input>,
    /// The latest view.
    pub views: Views,
    /// The plan.
    pub plan: Arc<ShopPlan>,
}

/// How long standing cuts that are sent without the host may take, before a start goes on or a broken service ends.
pub(crate) const CUTS_WITHIN: Duration = Duration::from_secs(2);

/// Starts everything but the core's thread and the faces.
///
/// # Errors
/// [`Ended`] when the journal or the equipment cannot be had; nothing is left half started.
pub fn start(assembly: &Assembly, clock: &ShopClock) -> Result<Started, Ended> {
    let failed = |error: &dyn std::fmt::Display| Ended::new(Exit::Failed, error.to_string());
    let plan = Arc::new(assembly.wired.plan.clone());
    let (journal, opened) = open(assembly, &plan)?;
    let reader = journal.reader();
    if let Some(standing) = &opened.standing {
        for sent in send_standing(&assembly.wired.host.lines, &standing.cuts, CUTS_WITHIN) {
            if !sent.read_back {
                tracing::warn!(furnace = sent.furnace.0, why = sent.why, "the standing cut did not read back yet");
            }
        }
    }
    let (to_core, from_all) = inbox();
    let recorder = journal.record(ToldByJournal(to_core.clone())).map_err(|error| failed(&error))?;
    let away = opened.away_ms.map_or(Away::Unknown, |ms| Away::Known(ShopMs(ms)));
    let shop = match opened.standing.as_ref().map(standing) {
        Some(None) => Shop::after_unread((*plan).clone(), away),
        stood => Shop::new((*plan).clone(), stood.flatten(), away),
    };
    let host = Host::start(&assembly.engine, assembly.wired.host.clone(), clock.clone(), offer(to_core.clone()));
    let host = Arc::new(host.map_err(|problems| {
        let words: Vec<String> = problems.iter().map(|problem| format!("{}: {}", problem.key, problem.message)).collect();
        Ended::new(Exit::Configuration, words.join("\n"))
    })?);
    let (to_views, views) = watch::channel(Arc::new(View::default()));
    let parts = CoreParts {
        shop,
        host: Arc::clone(&host),
        recorder,
        inbox: from_all,
        views: to_views,
        clock: clock.clone(),
        directory: plan.directory.clone(),
    };
    Ok(Started { core: Core::new(parts), host, reader, inbox: to_core, views, plan })
}

/// The host's way into the inbox: it never waits, and what finds no room comes back to be offered again.
fn offer(inbox: SyncSender<Input>) -> impl Fn(Observation) -> Result<(), Box<Observation>> + Send + Sync {
    move |what| match inbox.try_send(Input::Observed(what)) {
        Err(TrySendError::Full(Input::Observed(back))) => Err(Box::new(back)),
        _ => Ok(()),
    }
}

fn open(assembly: &Assembly, plan: &ShopPlan) -> Result<(Journal, Opened), Ended> {
    let path = &assembly.settings.journal;
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder).map_err(|error| {
            Ended::new(
                Exit::Failed,
                format!(
                    "the journal's folder {} cannot be made: {error}; name a file where this user may write, with --journal",
                    folder.display()
                ),
            )
        })?;
    }
    let mut options = OpenOptions::new(assembly.settings.merged.clone(), Names::of(plan), wall_ms());
    // Plain data always has a JSON form.
    options.core = serde_json::to_string(plan).unwrap_or_default();
    options.inputs = assembly.settings.inputs;
    options.version = env!("CARGO_PKG_VERSION").to_owned();
    if let Some((boot_id, uptime_ms)) = operating_system() {
        options.os_boot_id = boot_id;
        options.os_ms = uptime_ms;
    }
    Journal::open(path, options).map_err(|error| Ended::new(Exit::Failed, error.to_string()))
}

/// What names this run of the operating system, and how long it has run; nothing where the system does not say, and time away is
/// then unknown, which is the worst case.
fn operating_system() -> Option<(String, u64)> {
    let boot_id = std::fs::read_to_string(Path::new("/proc/sys/kernel/random/boot_id")).ok()?;
    let uptime = std::fs::read_to_string(Path::new("/proc/uptime")).ok()?;
    let seconds: f64 = uptime.split_whitespace().next()?.parse().ok()?;
    Some((boot_id.trim().to_owned(), Duration::try_from_secs_f64(seconds).ok()?.as_millis().try_into().ok()?))
}

fn standing(row: &StandingRow) -> Option<Standing> {
    if row.format != STANDING_FORMAT {
        tracing::error!(
            found = row.format,
            known = STANDING_FORMAT,
            "what stood was written by another version: starting cold, every furnace stopped until a reset"
        );
        return None;
    }
    row.unpack()
        .inspect_err(
            |error| tracing::error!(%error, "what stood cannot be read: starting cold, every furnace stopped until a reset"),
        )
        .ok()
}
