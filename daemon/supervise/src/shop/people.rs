//! What people ask, one request at a time: what is done, or why it is refused and what would mend it.

use std::time::Duration;

use hearthward_equipment::quantity::in_celsius;
use hearthward_equipment::{FurnaceId, ShopMs, TankId, Value};

use super::Shop;
use super::bypasses::BypassAsked;
use super::proofs::Attested;
use crate::cycle::{self, Cycle, Outcome, Stage, Waits};
use crate::event::{Event, EventBody, Priority};
use crate::furnace::Furnace;
use crate::interlock::{InterlockKind, Verdict};
use crate::output::Outputs;
use crate::plan::{FurnacePlan, SteelChoice, TankPlan};
use crate::points::number;
use crate::purge::PurgePhase;
use crate::questions::{Purpose, Question};
use crate::recipe::Load;
use crate::request::{Answer, Choice, Person, QuestionId, Request};
use crate::tanks::Tank;

/// Done with words, or refused with words.
pub(super) type Outcomes = Result<String, String>;

impl Shop {
    /// Answers everything that was asked since the last tick, in order.
    pub(super) fn answer(&mut self, out: &mut Outputs) {
        let mut requests = std::mem::take(&mut self.inbox.requests);
        for (ticket, person, request) in requests.drain(..) {
            let answer = match self.answer_one(&person, request, out) {
                Ok(done) => Answer::Done(done),
                Err(refused) => Answer::Refused(refused),
            };
            out.answers.push((ticket, answer));
        }
        self.inbox.requests = requests;
    }

    /// Questions that nobody answered take their default.
    pub(super) fn hear_silence(&mut self, out: &mut Outputs) {
        while let Some((question, choice)) = self.questions.silent() {
            let text = format!("Nobody answered; {} is taken as the default of: {}", choice.words(), question.text);
            let body = EventBody::Answered { question: question.id, by_silence: true, choice: Some(choice) };
            out.events.push(Event { furnace: Some(question.furnace), priority: Priority::Urgent, person: None, text, body });
            // A default that no longer fits has nothing left to decide.
            let _ = self.choose(&question, choice, None, out);
        }
    }

    fn answer_one(&mut self, person: &Person, request: Request, out: &mut Outputs) -> Outcomes {
        match request {
            Request::Start { furnace, load, ready_in } => self.start(person, furnace, load, ready_in, out),
            Request::Confirm { question, reading } => self.confirm(person, question, reading, out),
            Request::Choose { question, choice } => self.chosen(person, question, choice, out),
            Request::Enter { point, value } => self.enter(person, point, value, out),
            Request::Hold { furnace } => self.hold(person, furnace, true, out),
            Request::Resume { furnace } => self.hold(person, furnace, false, out),
            Request::Skip { furnace, reason } => self.skip(person, furnace, &reason, out),
            Request::Abort { furnace } => self.abort(person, furnace, out),
            Request::Reset { furnace, interlock } => self.reset(person, furnace, interlock, out),
            Request::Bypass { furnace, interlock, reason, span } => {
                self.bypass(person, BypassAsked { furnace, kind: interlock, reason: &reason, span }, out)
            }
            Request::Restore { furnace, interlock } => self.restore_bypassed(person, furnace, interlock, out),
            Request::Prove { furnace, interlock, wall_ms } => self.prove(person, furnace, interlock, wall_ms, out),
            Request::Attest { furnace, interlock, passed, how, wall_ms } => {
                self.attest(person, Attested { furnace, kind: interlock, passed, how: &how, wall_ms }, out)
            }
            Request::CallOff { furnace, interlock } => self.call_off(person, furnace, interlock, out),
            Request::Stop { furnace } => self.stop(person, furnace, out),
            Request::Alarm(ask) => self.about_alarm(person, ask, out),
        }
    }

    fn start(&mut self, person: &Person, id: FurnaceId, load: Load, ready_in: Option<Duration>, out: &mut Outputs) -> Outcomes {
        let waits = self.may_start(id, &load, ready_in)?;
        let bath_warmest_c = self.bath_warmest_c(&load)?;
        let (mut turn, furnaces) = self.turn(0, out);
        let shop = turn.plan;
        let (Some(furnace), Some(plan)) = (furnaces.get_mut(id.index()), shop.furnace(id)) else { return Err(no_furnace()) };
        let name = load.name.clone();
        let program = cycle::program_words(&load, plan).map(|words| format!(" {words}")).unwrap_or_default();
        furnace.forget_load();
        furnace.alone_s = 0.0;
        let ready_ms = ready_in.map(|span| u64::try_from(span.as_millis()).unwrap_or(u64::MAX));
        furnace.cycle = Some(Cycle::new(load, bath_warmest_c, ready_ms, waits == Waits::Alone));
        let begins = turn.events.len();
        if let (Some(cycle), at) = furnace.parts(plan) {
            cycle::begin(cycle, &at, &mut turn);
        }
        if let Some(event) = turn.events.get_mut(begins) {
            event.person = Some(person.name.clone());
        }
        let tank = furnace.cycle.as_ref().and_then(cycle::tank_ahead);
        let bath = tank.and_then(|id| turn.tanks.get(id.index()));
        let warns = tank.is_some_and(|id| turn.tanks.get(id.index()).is_some_and(|tank| !tank.is_ready_for(bath_warmest_c)));
        let by_itself = |id: TankId| warms_by_itself(turn.tanks.get(id.index())?, shop.tanks.get(id.index())?).then_some(id);
        let warmed = tank.and_then(by_itself).is_some();
        let text = match tank.and_then(|id| shop.tanks.get(id.index())).filter(|_| warns || ready_ms.is_some()) {
            Some(tank) if ready_ms.is_some() => {
                let why =
                    if let Waits::ForPeople(why) = waits { format!(" {why}; its bath is made ready.") } else { String::new() };
                format!("Load {name} is taken on in {}, and {} is to be in its window by its time.{why}", plan.name, tank.name)
            }
            Some(tank) if warmed => format!(
                "Load {name} began in {}. {} is not in its window yet: the service warms it once the load is in.",
                plan.name, tank.name
            ),
            Some(tank) => {
                let why = bath.map_or_else(String::new, |bath| {
                    let mut why = String::new();
                    bath.say(tank, &mut why);
                    why
                });
                format!("Load {name} began in {}. {why} See to it meanwhile.", plan.name)
            }
            None => format!("Load {name} began in {}.", plan.name),
        };
        self.forecast_soon();
        Ok(format!("{text}{program} Put the load in, shut the door, and say so."))
    }

    fn confirm(&mut self, person: &Person, id: QuestionId, reading: Option<Value>, out: &mut Outputs) -> Outcomes {
        let question = self.questions.get(id).cloned().ok_or_else(no_question)?;
        if !question.choices.is_empty() {
            return Err("This question asks for a choice, not for a confirmation.".to_owned());
        }
        self.alive(question.furnace);
        let before = out.events.len();
        let done = match question.purpose {
            Purpose::PurgeFlow | Purpose::HoldFlow | Purpose::ReadFlow => self.flow_said(person, &question, reading, out)?,
            Purpose::ReadTemperature => self.temperature_said(person, &question, reading, out)?,
            Purpose::BringBath => self.bath_brought(&question)?,
            Purpose::LoadAndShut | Purpose::PartUnder | Purpose::Transfer | Purpose::LetCool => {
                // Taken first, so that what follows may ask anew.
                self.done_by_hand(&question, out)?
            }
            Purpose::SetController | Purpose::TurnOff => "Noted.".to_owned(),
            Purpose::Steel(_) | Purpose::GoOn => {
                return Err("This question asks for a choice, not for a confirmation.".to_owned());
            }
        };
        self.questions.take(id);
        let text = format!("{} confirmed: {}", person.name, question.text);
        let body = EventBody::Answered { question: id, by_silence: false, choice: None };
        // What a person said comes before what came of it.
        out.events.insert(before, by(person, Some(question.furnace), Priority::Record, text, body));
        Ok(done)
    }

    /// What a person did at the furnace goes into the cycle.
    fn done_by_hand(&mut self, question: &Question, out: &mut Outputs) -> Outcomes {
        let id = question.furnace;
        if question.purpose == Purpose::Transfer {
            return self.transfer(id, out);
        }
        let (mut turn, furnaces) = self.turn(0, out);
        let shop = turn.plan;
        let (Some(furnace), Some(plan)) = (furnaces.get_mut(id.index()), shop.furnace(id)) else { return Err(no_furnace()) };
        let (Some(cycle), mut at) = furnace.parts(plan) else { return Err(no_question()) };
        if question.purpose == Purpose::PartUnder {
            cycle::part_under(cycle, &at, &mut turn);
            return Ok(format!("Part {} is noted.", cycle.parts_under));
        }
        if question.purpose == Purpose::LetCool {
            cycle::cooled(cycle);
            return Ok(format!("Load {} is cool; it goes on.", cycle.load.name));
        }
        cycle::loaded(cycle, &mut at, &mut turn)?;
        let hot = cycle.charged_hot;
        if hot {
            furnace.air.charge_hot();
        }
        let waits = furnace.cycle.as_ref().is_some_and(|cycle| cycle.stage == Stage::Waiting);
        self.forecast_soon();
        Ok(if waits { "The load is in; it waits for its time." } else { "The load is in; its first step begins." }.to_owned())
    }

    /// The load goes into the furnace that tempers it, which may be another one.
    fn transfer(&mut self, id: FurnaceId, out: &mut Outputs) -> Outcomes {
        let to = self.furnaces.get(id.index()).and_then(|furnace| furnace.cycle.as_ref()?.moves_to).unwrap_or(id);
        if self.plan.furnace(to).is_none() {
            return Err("The furnace that was to temper the load is not there any more: end the cycle.".to_owned());
        }
        if to != id && self.furnaces.get(to.index()).is_none_or(|target| target.cycle.is_some()) {
            return Err("The furnace that is to temper the load has another load in it: wait for it.".to_owned());
        }
        let Some(mut cycle) = self.furnaces.get_mut(id.index()).and_then(|furnace| furnace.cycle.take()) else {
            return Err(no_question());
        };
        let (mut turn, furnaces) = self.turn(0, out);
        let shop = turn.plan;
        let (Some(furnace), Some(plan)) = (furnaces.get_mut(to.index()), shop.furnace(to)) else { return Err(no_furnace()) };
        let (_, mut at) = furnace.parts(plan);
        let arrived = cycle::arrived(&mut cycle, &mut at, &mut turn);
        let (home, hot) = (if arrived.is_ok() { to } else { id }, cycle.charged_hot);
        if arrived.is_ok() {
            if let Some(left) = furnaces.get_mut(id.index()) {
                left.forget_load();
            }
            if let Some(furnace) = furnaces.get_mut(to.index()) {
                furnace.forget_load();
                furnace.kept_for = None;
                if hot {
                    furnace.air.charge_hot();
                }
            }
        }
        if let Some(furnace) = furnaces.get_mut(home.index()) {
            furnace.cycle = Some(cycle);
        }
        if arrived.is_ok() && to != id {
            // The question that is being answered is taken by whoever asked.
            let stays = |purpose| matches!(purpose, Purpose::TurnOff | Purpose::Transfer);
            turn.questions.withdraw(id, turn.events, |purpose| !stays(purpose));
        }
        arrived.map(|()| format!("The temper begins in {}.", plan.name))
    }

    fn flow_said(&mut self, person: &Person, question: &Question, reading: Option<Value>, out: &mut Outputs) -> Outcomes {
        let id = question.furnace;
        let Some(plan) = self.plan.furnace(id) else { return Err(no_furnace()) };
        let Some(gas) = &plan.gas else { return Err(no_question()) };
        let Some(value) = reading.filter(|value| matches!(value, Value::GasFlow(_)) && number(value).is_finite()) else {
            return Err(format!("Say what the meter of {} shows: a flow is asked for.", plan.name));
        };
        self.may_flow(gas.flow, &value)?;
        let Some(furnace) = self.furnaces.get_mut(id.index()) else { return Err(no_furnace()) };
        if question.purpose == Purpose::HoldFlow {
            if furnace.purge.phase != PurgePhase::Confirming || !furnace.purge.confirm() {
                return Err(format!("The purge of {} has begun again meanwhile: set the purge flow first.", plan.name));
            }
            super::cycles::tell_proved(furnace, plan, out);
        }
        furnace.purge.by_eye = Some(number(&value));
        Ok(self.entered(person, gas.flow, value, out))
    }

    fn temperature_said(&mut self, person: &Person, question: &Question, reading: Option<Value>, out: &mut Outputs) -> Outcomes {
        let Some(plan) = self.plan.furnace(question.furnace) else { return Err(no_furnace()) };
        let point = plan.temperature;
        let Some(value) = reading else {
            return Err(format!("Say what the thermometer of {} shows: a temperature is asked for.", plan.name));
        };
        self.enter(person, point, value, out)
    }

    /// A bath that a person was asked to bring into its window is there, or the answer says what is missing.
    fn bath_brought(&self, question: &Question) -> Outcomes {
        let cycle = self.furnaces.get(question.furnace.index()).and_then(|furnace| furnace.cycle.as_ref());
        let id = cycle.and_then(cycle::tank_ahead).ok_or_else(no_question)?;
        let (Some(tank), Some(plan)) = (self.tanks.get(id.index()), self.plan.tanks.get(id.index())) else {
            return Err(no_question());
        };
        if tank.ready {
            return Ok(format!("{} is ready.", plan.name));
        }
        let mut words = "Not yet: ".to_owned();
        tank.say(plan, &mut words);
        Err(words)
    }

    fn chosen(&mut self, person: &Person, id: QuestionId, choice: Choice, out: &mut Outputs) -> Outcomes {
        let question = self.questions.get(id).cloned().ok_or_else(no_question)?;
        if !question.choices.contains(&choice) {
            return Err("This question does not offer that choice.".to_owned());
        }
        self.alive(question.furnace);
        self.questions.take(id);
        let text = format!("{} chose: {}. The question was: {}", person.name, choice.words(), question.text);
        let body = EventBody::Answered { question: id, by_silence: false, choice: Some(choice) };
        out.events.push(by(person, Some(question.furnace), Priority::Notice, text, body));
        self.choose(&question, choice, Some(person), out)
    }

    /// Does what a person or silence chose. Only a person's word clears an interruption.
    fn choose(&mut self, question: &Question, choice: Choice, person: Option<&Person>, out: &mut Outputs) -> Outcomes {
        let id = question.furnace;
        let now = self.now;
        let (mut turn, furnaces) = self.turn(0, out);
        let shop = turn.plan;
        let (Some(furnace), Some(plan)) = (furnaces.get_mut(id.index()), shop.furnace(id)) else { return Err(no_furnace()) };
        let (Some(cycle), mut at) = furnace.parts(plan) else { return Err(no_question()) };
        let done = cycle::apply_choice(cycle, &mut at, &mut turn, choice);
        if question.purpose == Purpose::GoOn
            && let Some(person) = person
        {
            cycle.interrupted = false;
            settle_interruption(furnace, plan, (person, choice), now, turn.events);
        }
        let goes_on = matches!(choice, Choice::GoOn | Choice::RestartStep | Choice::Steel(SteelChoice::Finish));
        furnace.goes_on = goes_on && person.is_some();
        furnace.gas_word |= furnace.goes_on && question.purpose == Purpose::Steel(InterlockKind::GasSupply);
        Ok(done)
    }

    fn hold(&mut self, person: &Person, id: FurnaceId, on: bool, out: &mut Outputs) -> Outcomes {
        self.alive(id);
        let (Some(furnace), Some(plan)) = (self.furnaces.get_mut(id.index()), self.plan.furnace(id)) else {
            return Err(no_furnace());
        };
        let name = &plan.name;
        let Some(cycle) = &mut furnace.cycle else { return Err(format!("{name} has no load in it.")) };
        if cycle.interrupted {
            return Err(format!("The cycle in {name} was interrupted: answer its question."));
        }
        if cycle.held == on {
            return Err(format!("The cycle in {name} {} held already.", if on { "is" } else { "is not" }));
        }
        cycle.held = on;
        let (text, body) = if on {
            (format!("{} holds the cycle of load {} in {name}.", person.name, cycle.load.name), EventBody::Held)
        } else {
            (format!("{} resumes the cycle of load {} in {name}.", person.name, cycle.load.name), EventBody::Resumed)
        };
        out.events.push(by(person, Some(id), Priority::Notice, text.clone(), body));
        Ok(text)
    }

    fn skip(&mut self, person: &Person, id: FurnaceId, reason: &str, out: &mut Outputs) -> Outcomes {
        self.alive(id);
        if reason.trim().is_empty() {
            return Err("Say why the step is skipped: it goes on record.".to_owned());
        }
        let (mut turn, furnaces) = self.turn(0, out);
        let shop = turn.plan;
        let (Some(furnace), Some(plan)) = (furnaces.get_mut(id.index()), shop.furnace(id)) else { return Err(no_furnace()) };
        let name = &plan.name;
        let (Some(cycle), mut at) = furnace.parts(plan) else { return Err(format!("{name} has no load in it.")) };
        if cycle.interrupted {
            return Err(format!("The cycle in {name} was interrupted: answer its question."));
        }
        if cycle.stage == Stage::Ending {
            // A thermometer that goes on showing heat would keep the furnace for ever.
            let text = format!("{} says that load {} need not cool in {name} any longer: {reason}", person.name, cycle.load.name);
            turn.events.push(by(person, Some(id), Priority::Warning, text.clone(), EventBody::Noted));
            let outcome = cycle.outcome;
            self.end(id.index(), outcome, out);
            return Ok(text);
        }
        if cycle.stage != Stage::Running {
            return Err(format!("No step runs in {name} that could be skipped."));
        }
        if cycle::is_emptied(cycle) {
            return Err(format!("All parts of load {} are under: its pull is complete.", cycle.load.name));
        }
        let text = format!("{} skips a step of load {} in {name}: {reason}", person.name, cycle.load.name);
        turn.events.push(by(person, Some(id), Priority::Warning, text.clone(), EventBody::Noted));
        let ended = cycle::skip(cycle, &mut at, &mut turn);
        if let Some(outcome) = ended {
            self.end(id.index(), outcome, out);
        }
        Ok(text)
    }

    fn abort(&mut self, person: &Person, id: FurnaceId, out: &mut Outputs) -> Outcomes {
        self.alive(id);
        let now = self.now;
        let (mut turn, furnaces) = self.turn(0, out);
        let shop = turn.plan;
        let (Some(furnace), Some(plan)) = (furnaces.get_mut(id.index()), shop.furnace(id)) else { return Err(no_furnace()) };
        let name = &plan.name;
        let (Some(cycle), mut at) = furnace.parts(plan) else { return Err(format!("{name} has no load in it.")) };
        let text = format!(
            "{} ends the cycle of load {} in {name}: heat off, gas as it is until it is cool.",
            person.name, cycle.load.name
        );
        turn.events.push(by(person, Some(id), Priority::Notice, text.clone(), EventBody::Noted));
        cycle::turn_to_end(cycle, &mut at, &mut turn, Outcome::Aborted);
        furnace.gap = crate::furnace::Gap::None;
        // Nothing goes on that could have been interrupted.
        settle_interruption(furnace, plan, (person, Choice::End), now, turn.events);
        Ok(text)
    }

    /// A person gave a sign of life at this furnace.
    fn alive(&mut self, id: FurnaceId) {
        if let Some(furnace) = self.furnaces.get_mut(id.index()) {
            furnace.alone_s = 0.0;
        }
    }
}

/// A person has said what becomes of an interrupted load. The answer is the reset: the cause was that nobody had answered.
fn settle_interruption(
    furnace: &mut Furnace,
    plan: &FurnacePlan,
    (person, choice): (&Person, Choice),
    now: ShopMs,
    events: &mut Vec<Event>,
) {
    let kind = InterlockKind::Interrupted;
    if let Some(change) = furnace.rows.step(kind, now, Verdict::latched(false)) {
        super::rows::tell(furnace, plan, kind, change, events);
    }
    if furnace.rows.reset(kind, now) {
        let text = format!("{} said what becomes of the load in {}: {}.", person.name, plan.name, choice.words());
        events.push(by(person, Some(furnace.id), Priority::Notice, text, EventBody::Reset { interlock: kind }));
    }
}

/// The service brings a bath into its window that is only too cold, where it commands it.
fn warms_by_itself(tank: &Tank, plan: &TankPlan) -> bool {
    let cold = tank.temperature.is_some_and(|read_c| read_c < in_celsius(plan.window_low));
    cold && !tank.latched && plan.unit.is_some()
}

pub(super) fn no_furnace() -> String {
    "There is no such furnace.".to_owned()
}

pub(super) fn no_question() -> String {
    "That question is not open any more.".to_owned()
}

pub(super) fn by(person: &Person, furnace: Option<FurnaceId>, priority: Priority, text: String, body: EventBody) -> Event {
    Event { furnace, priority, person: Some(person.name.clone()), text, body }
}
