//! The demo: the example shop on the simulated bench, in accelerated shop time, with a simulated person who does what is asked.
//!
//! Nothing here is a mock of the service: the same core, host, drivers and journal run; only the clock is stepped, one scan at a time,
//! and each step waits until every simulated driver has answered and the journal has caught up.

mod people;
mod summary;

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use hearthward_drivers::{Host, ShopClock};
use hearthward_equipment::{Address, FurnaceId, Name, PointId, ShopMs, Value};
use hearthward_journal::{Reader, Recorded};
use hearthward_supervise::observe::Observation;
use hearthward_supervise::output::Act;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::recipe::Load;
use hearthward_supervise::request::{Answer, Person, Request};
use tokio::sync::oneshot;

use self::people::{Does, Smith};
use self::summary::Summary;
use crate::assembly::{Assembly, look};
use crate::exit::{Ended, Exit};
use crate::settings::{Problem, Sources};
use crate::shop::Core;
use crate::start::{Started, start};

/// The example shop as it is shipped.
const EXAMPLE: &str = include_str!("../../../deploy/example/shop.toml");

/// The demo gives up after this much shop time: twice what its load needs.
const LONGEST: Duration = Duration::from_secs(10 * 3600);

/// Scans that devices have at the end to say that they do not heat.
const LAST_SCANS: u32 = 10;

/// How long one step may wait for the disk.
const DISK: Duration = Duration::from_secs(20);

/// What the demo is run with.
#[derive(Debug)]
pub(crate) struct Options {
    /// Where its journal goes; an earlier demo's journal there is replaced.
    pub(crate) folder: PathBuf,
    /// Flags over the example's configuration.
    pub(crate) set: Vec<(String, String)>,
    /// Another configuration than the example's; refused unless all of its equipment is simulated.
    pub(crate) config: Option<PathBuf>,
}

/// Runs the demo to its end; `say` is told of each event as it becomes durable.
pub(crate) fn run(options: Options, mut say: impl FnMut(&Recorded) -> Result<(), Ended>) -> Result<Summary, DemoEnded> {
    let mut assembly = assembled(options)?;
    clear_earlier(&assembly.settings.journal)?;
    let floor = Floor::laid(&mut assembly)?;
    let clock = ShopClock::stepped();
    let Started { mut core, host, reader, plan, .. } = start(&assembly, &clock)?;
    let mut smith = Smith::new(floor.north, floor.plan_of_the_day(&assembly)?);
    let mut day = Day { floor, host, reader, told: 0, waiting: Vec::new(), asked: 0 };
    let mut summary = Summary::new(&plan);
    let mut now = ShopMs(0);
    while !summary.is_over() {
        now = now + plan.scan;
        if now.since(ShopMs(0)) > LONGEST {
            return Err(Ended::new(Exit::Refused, "the demo did not come to its end; its journal shows where it stands").into());
        }
        clock.step_to(now);
        day.host.step(now).into_iter().for_each(|observation| core.observe(observation));
        day.turn(&mut core)?;
        for does in smith.turn(now, core.view()) {
            day.carry_out(&mut core, does);
        }
        day.tell(&mut summary, &mut say)?;
    }
    core.observe(Observation::Stopping);
    for _ in 0..LAST_SCANS {
        day.turn(&mut core)?;
        day.tell(&mut summary, &mut say)?;
        if summary.is_cold() {
            break;
        }
        now = now + plan.scan;
        clock.step_to(now);
        day.host.step(now).into_iter().for_each(|observation| core.observe(observation));
    }
    day.host.stop();
    core.into_recorder().finish(DISK).map_err(|error| Ended::new(Exit::Failed, error.to_string()))?;
    Ok(summary)
}

/// Why the demo ended early.
#[derive(Debug)]
pub(crate) enum DemoEnded {
    /// The configuration has problems.
    Configuration(Vec<Problem>),
    /// Anything else.
    Early(Ended),
}

impl From<Ended> for DemoEnded {
    fn from(ended: Ended) -> Self {
        Self::Early(ended)
    }
}

fn assembled(options: Options) -> Result<Assembly, DemoEnded> {
    let folder = std::path::absolute(&options.folder).unwrap_or(options.folder);
    // Last, so that no flag leads the demo to another journal: it replaces the one that it finds.
    let mut set = options.set;
    set.push(("journal.file".to_owned(), folder.join("journal.sqlite").display().to_string()));
    let text = options.config.is_none().then(|| EXAMPLE.to_owned());
    let sources = Sources { file: options.config, text, set, environment: false };
    let assembly = look(&sources).map_err(DemoEnded::Configuration)?;
    if assembly.is_simulated() {
        return Ok(assembly);
    }
    let words = "accelerated time is refused with real equipment: a real furnace heats in real time. Use `hearthward serve`, or a configuration whose drivers are all simulated";
    Err(Ended::new(Exit::Refused, words).into())
}

/// Makes room for this demo's journal. Only what an earlier demo left is replaced, which the mark beside it tells; never while
/// another process has it open.
fn clear_earlier(journal: &Path) -> Result<(), Ended> {
    let beside = |suffix: &str| {
        let mut name = journal.as_os_str().to_owned();
        name.push(suffix);
        PathBuf::from(name)
    };
    let failed = |what: &Path, error: std::io::Error| {
        Ended::new(Exit::Failed, format!("{} cannot be used for the demo: {error}", what.display()))
    };
    let mark = beside(".demo");
    if journal.exists() && !mark.exists() {
        let words = format!("{} is not a demo's journal and is left alone; name another folder with --folder", journal.display());
        return Err(Ended::new(Exit::Refused, words));
    }
    if journal.exists() {
        // The journal's own lock, taken for as long as it takes to remove what is there.
        let path = beside(".lock");
        let lock = File::options().create(true).truncate(false).write(true).open(&path).map_err(|error| failed(&path, error))?;
        lock.try_lock()
            .map_err(|_| Ended::new(Exit::Refused, format!("another demo is using {}; let it end", journal.display())))?;
        for file in ["", "-wal", "-shm"].map(beside).iter().filter(|file| file.exists()) {
            std::fs::remove_file(file).map_err(|error| failed(file, error))?;
        }
    }
    let folder = journal.parent().unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder).map_err(|error| failed(folder, error))?;
    std::fs::write(&mark, "The journal beside this file is a demo's; the next demo replaces it.\n")
        .map_err(|error| failed(&mark, error))
}

/// The points of the bench that hands work on.
struct Floor {
    north: FurnaceId,
    little: FurnaceId,
    points: Vec<(String, PointId)>,
}

impl Floor {
    /// Numbers the points that hands work on, which no interlock reads.
    fn laid(assembly: &mut Assembly) -> Result<Self, Ended> {
        let missing = |what: &str| {
            Ended::new(Exit::Refused, format!("the demo needs the example's {what}, which this configuration does not have"))
        };
        let furnace = |plan: &ShopPlan, name: &str| {
            let name = Name::new(name).ok()?;
            plan.find_furnace(&name)
        };
        let plan = &mut assembly.wired.plan;
        let north = furnace(plan, "north").ok_or_else(|| missing("furnace north"))?;
        let little = furnace(plan, "little").ok_or_else(|| missing("furnace little"))?;
        let mut points = Vec::new();
        for text in
            ["bench/north.door", "bench/south.door", "bench/little.door", "bench/oil.quench-kg", "bench/little-meter.blocked"]
        {
            let address: Address = text.parse().map_err(|_| missing(text))?;
            points.push((text.to_owned(), plan.directory.point(&address)));
        }
        assembly.wired.host.directory = plan.directory.clone();
        Ok(Self { north, little, points })
    }

    /// What the smith starts, and when: the irons at once, the knives beside them, which are given up after an hour.
    fn plan_of_the_day(&self, assembly: &Assembly) -> Result<Vec<(Duration, Does)>, Ended> {
        let load = |recipe: &str, load: &str, parts| {
            let found = assembly.wired.recipes.iter().find(|known| known.name.as_str() == recipe);
            let recipe =
                found.ok_or_else(|| Ended::new(Exit::Refused, format!("the demo needs the example's recipe {recipe}")))?;
            let name = Name::new(load).map_err(|error| Ended::new(Exit::Failed, error.to_string()))?;
            let hearthward_api::Recipe { steel, protection, drive, part, steps, .. } = recipe.clone();
            Ok::<_, Ended>(Load { name, steel, parts, part, protection, steps, drive })
        };
        let (irons, knives) = (load("plane-irons", "irons-17", 4)?, load("carving-knives", "knives-4", 2)?);
        let blocked = Does::Deed { point: "bench/little-meter.blocked", value: Value::Flag(true) };
        Ok(vec![
            (Duration::from_secs(5), blocked),
            (Duration::from_secs(20), Does::Asks(Request::Start { furnace: self.north, load: irons, ready_in: None })),
            (Duration::from_secs(60), Does::Asks(Request::Start { furnace: self.little, load: knives, ready_in: None })),
            (Duration::from_secs(3600), Does::Asks(Request::Abort { furnace: self.little })),
        ])
    }
}

/// The running demo between two turns.
struct Day {
    floor: Floor,
    host: Arc<Host>,
    reader: Reader,
    /// The last event that was told.
    told: u64,
    waiting: Vec<oneshot::Receiver<Answer>>,
    asked: u64,
}

impl Day {
    fn turn(&mut self, core: &mut Core) -> Result<(), Ended> {
        core.drain();
        core.turn();
        if core.settle(DISK) {
            Ok(())
        } else {
            Err(Ended::new(Exit::Failed, "the disk does not take the demo's record; free space there"))
        }
    }

    fn carry_out(&mut self, core: &mut Core, does: Does) {
        match does {
            Does::Deed { point, value } => {
                if let Some((_, point)) = self.floor.points.iter().find(|(known, _)| known == point) {
                    let deed = Act::WritePoint { point: *point, value };
                    if let Err(fault) = self.host.act(&deed) {
                        tracing::error!(?deed, %fault, "the bench does not take a deed of the script");
                    }
                }
            }
            Does::Asks(request) => {
                self.asked += 1;
                let smith = Person { name: "the smith".to_owned() };
                self.waiting.push(core.ask(smith, request, format!("demo-{}", self.asked)));
            }
        }
    }

    /// Tells what became durable, and counts what was refused.
    fn tell(&mut self, summary: &mut Summary, say: &mut impl FnMut(&Recorded) -> Result<(), Ended>) -> Result<(), Ended> {
        let page = self.reader.read(self.told + 1, 1000).map_err(|error| Ended::new(Exit::Failed, error.to_string()))?;
        for event in page {
            self.told = event.seq;
            say(&event)?;
            summary.take(&event);
        }
        self.waiting.retain_mut(|answer| match answer.try_recv() {
            Ok(Answer::Refused(words)) => {
                summary.refused(words);
                false
            }
            Ok(Answer::Done(_)) => false,
            Err(oneshot::error::TryRecvError::Empty) => true,
            Err(oneshot::error::TryRecvError::Closed) => false,
        });
        Ok(())
    }
}
