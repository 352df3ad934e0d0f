//! What is inside a sandbox beside the guest: its limits, its budgets, and what the present call may do.

use std::time::Duration;

use hearthward_equipment::{Fault, FaultCode, Name, ShopMs};
use tokio::time::Instant;
use wasmtime::{Store, StoreLimits, StoreLimitsBuilder, UpdateDeadline};

use crate::alarm::Alarm;
use crate::clock::ShopClock;
use crate::cut::Tag;
use crate::engine::{Engine, MEMORY_MOST};
use crate::line::{Ask, Class, FrameRule, Line};
use crate::ticker::{Running, TickerHandle};
use crate::values::{Hex, TEXT_LONGEST, in_ms, shorten};

/// Ticks that one call may burn. A poll takes microseconds; fifty milliseconds end a runaway within a scan or two.
const TICKS_PER_CALL: u32 = 50;

/// Calls into the host that one call may make: a thousand registers one by one, ten times over.
const IMPORTS_PER_CALL: u32 = 10_000;

/// Bytes that may be copied in one crossing between guest and host: a few hundred points with their names.
const CROSSING_BYTES: usize = 256 << 10;

/// Tables, memories and instances: a component made of one module has a handful.
const INSTANCES_MOST: usize = 16;

/// Elements of a table: the largest guest that we know has two hundred functions in its table.
const TABLE_ELEMENTS_MOST: usize = 10_000;

/// Log lines that a driver may write in one [`LOG_WINDOW`]: more would bury everybody else's.
const LOG_LINES_PER_WINDOW: u32 = 50;
const LOG_WINDOW: Duration = Duration::from_secs(1);

/// The longest that one exchange may wait for its reply, whatever the driver asks for.
const EXCHANGE_LONGEST: Duration = Duration::from_secs(10);

/// What is left of a call when its last exchange is given up, so that the guest can still say so: a device that is silent is no
/// reason to tear its driver down.
const LAST_WORDS: Duration = Duration::from_millis(50);

/// The state of a sandbox.
#[derive(Debug)]
pub(crate) struct Inside {
    driver: Name,
    clock: ShopClock,
    lines: Vec<Line>,
    limits: StoreLimits,
    ticker: Option<TickerHandle>,
    running: Option<Running>,
    ticks: u32,
    /// The guest has just begun, or has just waited: the tick that it now meets was not burnt by it, and to yield for it would
    /// only cost.
    rested: bool,
    imports: u32,
    call: Call,
    /// Where the log wants to know: what the present call is and when it began.
    began: Option<(&'static str, std::time::Instant)>,
    /// The same of its present exchange. Kept here, since a future that waits for a line is to stay small.
    asked_at: Option<std::time::Instant>,
    log: LogBudget,
    /// For the deadlines of exchanges.
    alarm: Alarm,
}

/// What the present call is, and what came of its exchanges.
#[derive(Debug)]
pub(crate) struct Call {
    /// A call that only asks: nothing goes on a line.
    pub(crate) dry: bool,
    pub(crate) class: Class,
    pub(crate) tag: Option<Tag>,
    /// When the call is given up; no exchange waits longer.
    pub(crate) until: Instant,
    /// Shop time, which stands still within the call.
    now: ShopMs,
    /// When the first exchange of the call completed.
    first_exchange_at: Option<ShopMs>,
}

#[derive(Debug)]
struct LogBudget {
    window: std::time::Instant,
    lines: u32,
    dropped: u64,
}

/// A budget that the guest overran; it is killed.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub(crate) struct Overrun(&'static str);

impl Call {
    /// A call that reads.
    pub(crate) fn read(tag: Option<Tag>, limit: Duration) -> Self {
        Self::new(false, Class::Read, tag, limit)
    }

    /// A call that commands.
    pub(crate) fn write(tag: Option<Tag>, limit: Duration) -> Self {
        Self::new(false, Class::Write, tag, limit)
    }

    /// A call that touches no line.
    pub(crate) fn dry(limit: Duration) -> Self {
        Self::new(true, Class::Read, None, limit)
    }

    fn new(dry: bool, class: Class, tag: Option<Tag>, limit: Duration) -> Self {
        Self { dry, class, tag, until: Instant::now() + limit, now: ShopMs(0), first_exchange_at: None }
    }
}

impl Inside {
    /// A store with every limit set, before any guest code runs in it.
    pub(crate) fn store(engine: &Engine, driver: Name, clock: ShopClock, lines: Vec<Line>) -> Store<Self> {
        let limits = StoreLimitsBuilder::new()
            .memory_size(MEMORY_MOST)
            .table_elements(TABLE_ELEMENTS_MOST)
            .instances(INSTANCES_MOST)
            .tables(INSTANCES_MOST)
            .memories(INSTANCES_MOST)
            .trap_on_grow_failure(true)
            .build();
        let inside = Self {
            driver,
            clock,
            lines,
            limits,
            ticker: engine.ticker(),
            running: None,
            ticks: 0,
            rested: true,
            imports: 0,
            call: Call::dry(Duration::ZERO),
            began: None,
            asked_at: None,
            log: LogBudget { window: std::time::Instant::now(), lines: 0, dropped: 0 },
            alarm: Alarm::default(),
        };
        let mut store = Store::new(engine.wasm(), inside);
        store.limiter(|inside| &mut inside.limits);
        store.set_hostcall_fuel(CROSSING_BYTES);
        store.set_epoch_deadline(1);
        store.epoch_deadline_callback(|mut store| {
            let inside = store.data_mut();
            if std::mem::take(&mut inside.rested) {
                return Ok(UpdateDeadline::Continue(1));
            }
            inside.ticks += 1;
            if inside.ticks > TICKS_PER_CALL {
                return Ok(UpdateDeadline::Interrupt);
            }
            // Not plain `Yield`: that one wakes itself at once and starves the runtime's timers and sockets.
            Ok(UpdateDeadline::YieldCustom(1, Box::pin(tokio::task::yield_now())))
        });
        store
    }

    /// A call begins; `what` is the contract's word for it.
    pub(crate) fn begin(&mut self, what: &'static str, call: Call) {
        self.ticks = 0;
        self.rested = true;
        self.imports = 0;
        self.call = Call { now: self.clock.now(), ..call };
        self.began = tracing::enabled!(tracing::Level::DEBUG).then(|| (what, std::time::Instant::now()));
        self.running = self.ticker.as_ref().map(TickerHandle::run);
    }

    /// The call is over; says when its first exchange completed, if it made one.
    pub(crate) fn end(&mut self) -> Option<ShopMs> {
        self.running = None;
        if let Some((what, began)) = self.began.take() {
            tracing::debug!(driver = %self.driver, call = what, ms = %in_ms(began.elapsed()), "a call");
        }
        self.call.first_exchange_at
    }

    /// The shop's time as the guest sees it.
    pub(crate) fn now(&mut self) -> Result<ShopMs, Overrun> {
        self.count()?;
        Ok(self.call.now)
    }

    /// One exchange for the guest. The inner result is the guest's, the outer kills it.
    pub(crate) async fn exchange(
        &mut self,
        line: u32,
        request: &[u8],
        rules: &[FrameRule],
        within: Option<Duration>,
    ) -> Result<Result<Vec<u8>, Fault>, Overrun> {
        self.count()?;
        if self.call.dry {
            return Ok(Err(Fault::new(FaultCode::NOT_ALLOWED, "no line may be used in this call")));
        }
        let Some(line) = self.lines.get(line as usize).cloned() else {
            return Ok(Err(Fault::new(FaultCode::NOT_ALLOWED, format!("no line with index {line} was granted"))));
        };
        let within = within.unwrap_or(EXCHANGE_LONGEST).min(EXCHANGE_LONGEST);
        let give_up_at = self.call.until.checked_sub(LAST_WORDS).unwrap_or(self.call.until);
        let ask = Ask { class: self.call.class, tag: self.call.tag.as_ref(), request, rules, within, give_up_at };
        // Waiting burns no time of the guest's: the ticker may rest.
        self.running = None;
        self.asked_at = tracing::enabled!(tracing::Level::DEBUG).then(std::time::Instant::now);
        let result = line.exchange(&ask, &mut self.alarm).await;
        self.running = self.ticker.as_ref().map(TickerHandle::run);
        self.rested = true;
        if result.is_ok() {
            let now = self.clock.now();
            self.call.first_exchange_at.get_or_insert(now);
        }
        if let Some(asked_at) = self.asked_at.take() {
            self.tell_exchange(&line, request, &result, asked_at.elapsed());
        }
        Ok(result)
    }

    #[cold]
    fn tell_exchange(&self, line: &Line, request: &[u8], result: &Result<Vec<u8>, Fault>, took: Duration) {
        let (driver, out, ms) = (&self.driver, Hex(request), in_ms(took));
        match result {
            Ok(reply) => tracing::debug!(%driver, %line, %out, back = %Hex(reply), %ms, "an exchange"),
            Err(fault) => tracing::debug!(%driver, %line, %out, %fault, %ms, "an exchange"),
        }
    }

    /// One line in the log, within the budget.
    pub(crate) fn log(&mut self, level: tracing::Level, text: String) -> Result<(), Overrun> {
        self.count()?;
        let window = &mut self.log;
        if window.window.elapsed() >= LOG_WINDOW {
            if window.dropped > 0 {
                tracing::warn!(driver = %self.driver, dropped = window.dropped, "log lines of a driver were dropped");
            }
            *window = LogBudget { window: std::time::Instant::now(), lines: 0, dropped: 0 };
        }
        if window.lines >= LOG_LINES_PER_WINDOW {
            window.dropped += 1;
            return Ok(());
        }
        window.lines += 1;
        // One entry stays one line, whatever is in it.
        let text = shorten(text, TEXT_LONGEST).replace(|c: char| c.is_control(), " ");
        let driver = &self.driver;
        match level {
            tracing::Level::ERROR => tracing::error!(%driver, "{text}"),
            tracing::Level::WARN => tracing::warn!(%driver, "{text}"),
            tracing::Level::INFO => tracing::info!(%driver, "{text}"),
            _ => tracing::debug!(%driver, "{text}"),
        }
        Ok(())
    }

    fn count(&mut self) -> Result<(), Overrun> {
        self.imports += 1;
        if self.imports > IMPORTS_PER_CALL {
            return Err(Overrun("it called the host too often in one call"));
        }
        Ok(())
    }
}
