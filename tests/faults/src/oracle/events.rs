//! Invariants 5 and 7: no latch goes without a reset, and each change is an event, exactly once, that agrees with what is shown.

use hearthward_equipment::FurnaceId;
use hearthward_equipment::quantity::in_celsius;
use hearthward_supervise::event::{Event, EventBody};
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::recipe::{Step, StepKind};
use hearthward_supervise::request::{Ask, Choice, QuestionId, Request};
use hearthward_supervise::rule::RuleEffect;
use hearthward_supervise::view::InterlockState;

use super::known::Known;
use super::{Found, Moment, Oracle, Waiting, must};

impl Oracle {
    /// Takes the events of this tick into the books.
    pub(super) fn check_events(&mut self, moment: &Moment<'_>) -> Found {
        for event in &moment.out.events {
            self.check_event(event, moment).map_err(|what| format!("{what}: {:?}", event.text))?;
        }
        let stop = self.asked.iter().rposition(|ask| matches!(ask, Request::Stop { .. }));
        let reset = self.asked.iter().rposition(|ask| matches!(ask, Request::Reset { .. }));
        for known in &mut self.known {
            if known.seen.has(InterlockKind::Stop) && stop > reset {
                known.latches.add(InterlockKind::Stop, true);
            }
        }
        Ok(())
    }

    fn check_event(&mut self, event: &Event, moment: &Moment<'_>) -> Found {
        match &event.body {
            EventBody::Asked { question, ask, default } => {
                let silent_at = default.map(|(_, at_ms)| hearthward_equipment::ShopMs(at_ms));
                let waiting = Waiting { furnace: event.furnace, ask: ask.clone(), silent_at };
                self.check_asked(event.furnace, ask)?;
                let known = self.questions.insert(*question, waiting);
                must(known.is_none(), || "invariant 7: the same question twice".to_owned())?;
            }
            EventBody::Answered { question, by_silence, choice } => {
                return self.answered(event, *question, *by_silence, *choice, moment);
            }
            EventBody::Withdrawn { question } => {
                return must(self.questions.remove(question).is_some(), || "invariant 7: withdrawn and never asked".to_owned());
            }
            EventBody::Tripped { interlock: InterlockKind::RoomOxygen, latched: true, .. } => {
                let place = event.furnace.map_or(0, FurnaceId::index);
                if !self.known[place].latched.has(InterlockKind::RoomOxygen) {
                    self.check_early_danger(moment)?;
                }
            }
            EventBody::Bypassed { .. } | EventBody::Restored { .. } | EventBody::Rule { .. } => {
                let place = event.furnace.map(FurnaceId::index).ok_or("a bypass or a rule without a furnace")?;
                return self.known[place].policy.note(event, moment.out.tick, &self.asked);
            }
            EventBody::Proved { .. } | EventBody::ProofVoid { .. } => return self.note_proof(event, moment),
            EventBody::PartUnder { .. } => self.check_part(event.furnace)?,
            EventBody::Alarm { .. } => return self.alarms.note(event, &self.plan, &self.asked),
            EventBody::Reset { interlock } => return self.reset(event, *interlock),
            EventBody::StepBegan { step, .. } => self.check_first_step(event.furnace, *step)?,
            EventBody::CycleEnded { .. } => self.check_end(event.furnace)?,
            EventBody::PurgeProved { .. } => return self.proved(event.furnace, moment),
            EventBody::RodeThrough { gap_ms } => return self.rode_through(event, *gap_ms),
            EventBody::CycleBegan { load, .. } => {
                let asked = self.asked.iter().find_map(|ask| match ask {
                    Request::Start { furnace, load: given, .. } if Some(*furnace) == event.furnace && given.name == *load => {
                        Some(given)
                    }
                    _ => None,
                });
                let load = asked.cloned().ok_or("a cycle began and nobody asked for it")?;
                let known = event.furnace.and_then(|id| self.known.get_mut(id.index())).ok_or("a cycle without a furnace")?;
                known.begins(load);
            }
            _ => {}
        }
        match event.furnace.and_then(|id| self.known.get_mut(id.index())) {
            Some(known) => note(known, event, moment),
            None => Ok(()),
        }
    }

    /// What gas protects stays its cycle's until its chamber is cool, by a thermometer without a fault, unless a person says otherwise.
    fn check_end(&self, furnace: Option<FurnaceId>) -> Found {
        let Some((id, known)) = furnace.and_then(|id| Some((id, self.known.get(id.index())?))) else { return Ok(()) };
        let own = self.plan.furnaces[id.index()].gas.is_some() && known.is_protected() && known.under_way;
        let steps = known.load.iter().flat_map(|load| load.steps.iter().rev());
        let cooled = steps.filter_map(|step| if let Step::Cool { to, .. } = step { Some(in_celsius(*to)) } else { None }).next();
        let safe_c = cooled.unwrap_or_else(|| self.ceiling_c(id.index()));
        let told = self.asked.iter().any(|ask| matches!(ask, Request::Skip { furnace, .. } if *furnace == id));
        let last_c = known.believed_c().or(known.last_c);
        must(!own || told || last_c.is_none_or(|last_c| last_c <= safe_c + 1e-6), || {
            format!("invariant 3: a load was let go at {last_c:?} °C, safe is {safe_c} °C")
        })
    }

    /// No new start in air that is thin or not known, past a rule that forbids it or without a record, whoever or whatever begins it. Hot
    /// steel may leave at any time, and what was hardened goes on to its temper: a load under way is no new start in another furnace.
    fn check_first_step(&self, furnace: Option<FurnaceId>, step: StepKind) -> Found {
        let Some((id, known)) = furnace.and_then(|id| Some((id, self.known.get(id.index())?))) else { return Ok(()) };
        if known.load.is_none() || known.under_way || step == StepKind::Pull {
            return Ok(());
        }
        let least = self.plan.room.first_level.value;
        let good = self.plan.room.oxygen.is_none() || self.room.level.is_some_and(|level| level >= least);
        must(good, || format!("a load began and the room's oxygen is {:?}", self.room.level))?;
        must(!self.failing, || "a load began and the record cannot be written".to_owned())?;
        let rules = &self.plan.furnaces[id.index()].policy.rules;
        let forbids = rules.iter().find(|rule| rule.effect == RuleEffect::WithholdStart && known.policy.stands(&rule.name));
        let bypassed = known.policy.in_force(self.durable).has(InterlockKind::ShopWatch);
        must(forbids.is_none() || bypassed, || {
            format!("a load began though rule {:?} forbids it", forbids.map(|rule| &rule.name))
        })
    }

    fn reset(&mut self, event: &Event, kind: InterlockKind) -> Found {
        let settles = |ask: &Request| match ask {
            Request::Reset { interlock, .. } => interlock.is_none_or(|asked| asked == kind),
            Request::Choose { .. } | Request::Abort { .. } => kind == InterlockKind::Interrupted,
            _ => false,
        };
        must(event.person.is_some() && self.asked.iter().any(settles), || {
            format!("invariant 5: {kind:?} was reset and no person asked for it")
        })?;
        if kind == InterlockKind::RoomOxygen {
            let second = self.plan.room.second_level.value;
            must(self.room.level.is_some_and(|level| level >= second), || {
                "invariant 5: the room was reset and its oxygen is low or unknown".to_owned()
            })?;
            self.room.latched = false;
        }
        let Some(place) = event.furnace.map(FurnaceId::index) else {
            if kind == InterlockKind::QuenchOverTemperature {
                return self.bath_reset(event);
            }
            return Ok(());
        };
        let known = &mut self.known[place];
        must(known.latched.has(kind), || format!("invariant 5: {kind:?} was reset and was not latched"))?;
        let readings = [
            InterlockKind::DoorOpen,
            InterlockKind::OverTemperature,
            InterlockKind::SensorFault,
            InterlockKind::DriverLost,
            InterlockKind::RoomOxygen,
        ];
        must(!readings.contains(&kind) || !known.seen.has(kind), || {
            format!("invariant 5: {kind:?} was reset and its cause stands")
        })?;
        must(kind != InterlockKind::SensorFault || known.healthy_ms.is_none(), || {
            "invariant 5: a sensor fault was reset before the sensor was healthy for its time".to_owned()
        })?;
        known.standing.remove(kind);
        known.latched.remove(kind);
        known.latches.remove(kind);
        // A person who resets it has said that it goes on.
        known.must_answer &= kind != InterlockKind::Interrupted;
        Ok(())
    }

    fn answered(
        &mut self,
        event: &Event,
        id: QuestionId,
        by_silence: bool,
        choice: Option<Choice>,
        moment: &Moment<'_>,
    ) -> Found {
        let waiting = self.questions.remove(&id).ok_or("invariant 7: answered and never asked")?;
        let asked = self.asked.iter().any(|ask| match ask {
            Request::Confirm { question, .. } | Request::Choose { question, .. } => *question == id,
            _ => false,
        });
        let heard = if by_silence { event.person.is_none() } else { event.person.is_some() && asked };
        must(heard, || "invariant 5: a question was answered by nobody".to_owned())?;
        if by_silence {
            let due = waiting.silent_at.is_none_or(|at| moment.now >= at);
            must(due, || "silence was heard before its time".to_owned())?;
        }
        let Some(place) = waiting.furnace.map(FurnaceId::index) else { return Ok(()) };
        match &waiting.ask {
            Ask::LoadAndShut => {
                let ceiling_c = self.ceiling_c(place);
                self.known[place].put_in(ceiling_c);
                must(self.known[place].door != super::known::Door::Open, || "a load was put in past an open door".to_owned())?;
            }
            Ask::Transfer { to } => {
                let to = self.plan.find_furnace(to).map_or(place, FurnaceId::index);
                self.moves(place, to);
            }
            Ask::SetFlow { .. } => {
                let said = self.asked.iter().find_map(|ask| match ask {
                    Request::Confirm { question, reading: Some(hearthward_equipment::Value::GasFlow(flow)) }
                        if *question == id =>
                    {
                        Some(flow.value)
                    }
                    _ => None,
                });
                self.known[place].by_eye = said.or(self.known[place].by_eye);
            }
            Ask::LetCool { .. } => self.known[place].in_chamber = false,
            Ask::PartUnder { .. } => self.known[place].said_under = true,
            Ask::GoOn { .. } if !by_silence => {
                (self.known[place].must_answer, self.known[place].gap_ms) = (false, None);
            }
            _ => {}
        }
        let known = &mut self.known[place];
        known.stopped &= by_silence || choice.is_none();
        known.forced |= matches!(choice, Some(Choice::Steel(hearthward_supervise::plan::SteelChoice::QuenchNow)));
        Ok(())
    }

    /// A load goes into the furnace that tempers it.
    fn moves(&mut self, from: usize, to: usize) {
        let (load, under_way) = (self.known[from].load.take(), self.known[from].under_way);
        self.known[from].ends();
        let ceiling_c = self.ceiling_c(to);
        let known = &mut self.known[to];
        known.ends();
        (known.load, known.under_way) = (load, under_way);
        known.put_in(ceiling_c);
    }

    /// The temperature under which steel does not scale, in °C.
    pub(super) fn ceiling_c(&self, place: usize) -> f64 {
        let gas = self.plan.furnaces[place].gas.as_ref();
        gas.map_or(f64::INFINITY, |gas| in_celsius(gas.purge.unpurged_ceiling))
    }

    /// A gap may be ridden through only if it was short, the door stayed shut and the readings agree.
    fn rode_through(&mut self, event: &Event, gap_ms: u64) -> Found {
        let place = event.furnace.map(FurnaceId::index).ok_or("a gap without a furnace")?;
        let plan = &self.plan.furnaces[place];
        let ride_ms = self.plan.ride_through.as_millis() as u64;
        let known = &mut self.known[place];
        must(gap_ms <= ride_ms + 1_000, || format!("a gap of {gap_ms} ms was ridden through"))?;
        if !event.text.contains("without the service") {
            // A driver was gone, not the service.
            return Ok(());
        }
        must(known.gap_ms.is_some(), || "there was no gap that could be ridden through".to_owned())?;
        must(!known.opened_in_gap, || "the door was opened in the gap that was ridden through".to_owned())?;
        must(!matches!(known.door, super::known::Door::Unknown), || {
            "the door is not known, and a gap was ridden through".to_owned()
        })?;
        must(known.latched.is_empty(), || format!("a gap was ridden through with {:?} latched", known.latched))?;
        let (Some(before_c), Some(read_c)) = (known.gap_from_c, known.read_c) else {
            return Err("a gap was ridden through without readings".to_owned());
        };
        // Generous: three times the known fall and twice what readings may differ.
        let fell_k = before_c - read_c;
        let most_k = 3.0 * plan.falls_k_per_s * gap_ms as f64 / 1000.0 + 30.0;
        must((-30.0..=most_k).contains(&fell_k), || format!("{fell_k} K apart, and a gap was ridden through"))?;
        (known.gap_ms, known.proved) = (None, known.proved_before);
        Ok(())
    }

    /// What is shown agrees with what was told.
    pub(super) fn check_standing(&self, moment: &Moment<'_>) -> Found {
        let view = moment.view;
        let same = view.questions.len() == self.questions.len()
            && view.questions.iter().all(|question| self.questions.contains_key(&question.id));
        must(same, || "invariant 7: the questions shown are not those that were asked".to_owned())?;
        let mut resets = moment.out.events.iter();
        let room = resets.any(|event| matches!(event.body, EventBody::Reset { interlock: InterlockKind::RoomOxygen }));
        let left = self.known.iter().position(|known| room && known.latched.has(InterlockKind::RoomOxygen));
        must(left.is_none(), || format!("the room was reset and furnace {left:?} stays latched for it"))?;
        for (place, (known, seen)) in self.known.iter().zip(&view.furnaces).enumerate() {
            let name = &self.plan.furnaces[place].name;
            for row in &seen.interlocks {
                let (stands, latched) = (known.standing.has(row.kind), known.latched.has(row.kind));
                let agrees = match row.state {
                    InterlockState::Clear => !stands,
                    InterlockState::Tripped => stands,
                    InterlockState::Latched => stands && latched,
                };
                must(agrees, || format!("invariant 7: {:?} of {name} is shown {:?} and was not told so", row.kind, row.state))?;
            }
            must(known.permitted == seen.ceiling_c, || {
                format!("invariant 7: {name} shows {:?} as its ceiling, told was {:?}", seen.ceiling_c, known.permitted)
            })?;
            must(known.load.is_some() == seen.cycle.is_some(), || format!("invariant 7: a load of {name} came or went untold"))?;
            must(known.generation == seen.generation, || format!("invariant 7: {name} was cut untold"))?;
            let Some(cycle) = &seen.cycle else { continue };
            // While it is loaded, moved or cooling at its end no step runs.
            let told = known.step.is_none_or(|step| step == (cycle.index, cycle.step) || cycle.step == StepKind::Cool);
            let moved = matches!(cycle.step, StepKind::Temper);
            must(told || moved, || format!("invariant 7: {name} is in step {:?}, told was {:?}", cycle.step, known.step))?;
        }
        Ok(())
    }
}

/// Notes an event of one furnace.
fn note(known: &mut Known, event: &Event, moment: &Moment<'_>) -> Found {
    match &event.body {
        EventBody::Tripped { interlock, latched, .. } => {
            let again = known.standing.has(*interlock) && known.latched.has(*interlock) == *latched && !*latched;
            must(!again, || format!("invariant 7: {interlock:?} tripped twice"))?;
            known.standing.add(*interlock, true);
            known.latched.add(*interlock, *latched);
            match interlock {
                InterlockKind::SensorFault => known.healthy_ms = Some(0),
                InterlockKind::Interrupted => known.doubted = known.changes,
                _ => {}
            }
        }
        EventBody::Cleared { interlock } => {
            must(known.standing.has(*interlock), || format!("invariant 7: {interlock:?} cleared and did not stand"))?;
            must(!known.latched.has(*interlock), || format!("invariant 5: the latch of {interlock:?} cleared itself"))?;
            known.standing.remove(*interlock);
        }
        EventBody::Permitted { ceiling_c } => {
            known.permits.push((moment.out.tick, *ceiling_c));
            known.permitted = Some(*ceiling_c);
        }
        EventBody::Withheld { .. } => {
            known.permits.clear();
            known.permitted = None;
        }
        EventBody::StepBegan { index, step, .. } => {
            (known.step, known.under_way) = (Some((*index, *step)), true);
            (known.in_band_ms, known.uncounted_ms) = (0, 0);
            // What people let flow while the load waited is no purge.
            known.doubted = known.changes;
        }
        EventBody::PurgeBroken { .. } => {
            (known.proved, known.proved_before, known.changes, known.overdue_ms) = (false, false, 0.0, 0);
        }
        EventBody::PartUnder { part, .. } => {
            let all = known.load.as_ref().is_none_or(|load| *part >= load.parts.max(1));
            known.in_chamber &= !all;
        }
        EventBody::CycleEnded { .. } => known.ends(),
        EventBody::Asked { ask: Ask::PartUnder { .. }, .. } => known.opened_for_part = false,
        EventBody::Asked { ask: Ask::GoOn { .. }, .. } => (known.must_answer, known.gap_ms) = (true, None),
        EventBody::CutUnconfirmed { .. } => known.cut_doubted = true,
        _ => {}
    }
    Ok(())
}
