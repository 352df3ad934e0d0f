//! Events.

use hearthward_journal::{Names, Recorded};
use hearthward_proto::v1;
use hearthward_proto::v1::event::{self as of, Body};
use hearthward_supervise::event::{EventBody, Priority};
use hearthward_supervise::output::Via;
use prost::Message;

use super::cycles::{ask, choice, step_kind};
use super::interlocks::{kind, kinds};
use super::{alarms, tidy, timestamp, values};

/// An event as a stream sends it: a whole `StreamEventsResponse`, in bytes.
pub(crate) fn encoded(recorded: &Recorded) -> Vec<u8> {
    let item = v1::stream_events_response::Item::Event(event(recorded));
    v1::StreamEventsResponse { item: Some(item) }.encode_to_vec()
}

/// An event as the API says it, for whoever reads a journal without a service.
#[must_use]
pub fn event(recorded: &Recorded) -> v1::Event {
    v1::Event {
        seq: recorded.seq,
        time: Some(timestamp(recorded.wall_ms)),
        shop_ms: recorded.at.0,
        boot: recorded.boot,
        tick: recorded.tick.0,
        furnace: recorded.furnace.as_ref().map(ToString::to_string).unwrap_or_default(),
        kind: recorded.kind.clone(),
        priority: priority(recorded.priority).into(),
        person: recorded.person.clone().unwrap_or_default(),
        text: recorded.text.clone(),
        body: recorded.body.as_ref().map(|inner| body(inner, &recorded.names)),
    }
}

pub(crate) fn priority(priority: Priority) -> v1::Priority {
    match priority {
        Priority::Record => v1::Priority::Record,
        Priority::Notice => v1::Priority::Notice,
        Priority::Warning => v1::Priority::Warning,
        Priority::Urgent => v1::Priority::Urgent,
    }
}

/// The priority that a client names; the least when it names none.
pub(crate) fn priority_from(priority: v1::Priority) -> Priority {
    match priority {
        v1::Priority::Unspecified | v1::Priority::Record => Priority::Record,
        v1::Priority::Notice => Priority::Notice,
        v1::Priority::Warning => Priority::Warning,
        v1::Priority::Urgent => Priority::Urgent,
    }
}

/// Heat, equipment and people here; what belongs to a load in [`load_body`].
fn body(body: &EventBody, names: &Names) -> Body {
    let point = |id| names.point(id).map(ToString::to_string).unwrap_or_default();
    match body {
        EventBody::Began { away_ms, clean } => Body::Began(of::Began { away_ms: *away_ms, clean: *clean }),
        EventBody::Ending => Body::Ending(of::Ending {}),
        EventBody::Unit { unit, state, detail } => Body::Unit(of::Unit {
            unit: names.unit(*unit).map(ToString::to_string).unwrap_or_default(),
            state: state.clone(),
            detail: detail.clone(),
        }),
        EventBody::Output { unit, done, detail } => Body::Output(of::Output {
            unit: unit.and_then(|unit| names.unit(unit)).map(ToString::to_string).unwrap_or_default(),
            done: *done,
            detail: detail.clone(),
        }),
        EventBody::PointQuality { point: id, quality } => {
            Body::PointQuality(of::PointQuality { point: point(*id), quality: quality.clone() })
        }
        EventBody::Cut { generation, via: by, because } => {
            Body::Cut(of::Cut { generation: generation.0, via: via(*by).into(), because: kinds(because) })
        }
        EventBody::CutConfirmed { generation, after_ms } => {
            Body::CutConfirmed(of::CutConfirmed { generation: generation.0, after_ms: *after_ms })
        }
        EventBody::CutUnconfirmed { generation, detail } => {
            Body::CutUnconfirmed(of::CutUnconfirmed { generation: generation.0, detail: detail.clone() })
        }
        EventBody::Tripped { interlock, latched, first, acts } => {
            Body::Tripped(of::Tripped { interlock: kind(*interlock).into(), latched: *latched, first: *first, acts: *acts })
        }
        EventBody::Cleared { interlock } => Body::Cleared(of::Cleared { interlock: kind(*interlock).into() }),
        EventBody::Reset { interlock } => Body::Reset(of::Reset { interlock: kind(*interlock).into() }),
        EventBody::Bypassed { interlock, reason, for_ms } => {
            Body::Bypassed(of::Bypassed { interlock: kind(*interlock).into(), reason: reason.clone(), for_ms: *for_ms })
        }
        EventBody::Restored { interlock, lapsed } => {
            Body::Restored(of::Restored { interlock: kind(*interlock).into(), lapsed: *lapsed })
        }
        EventBody::Rule { rule, stands, latched, failed } => {
            Body::Rule(of::Rule { rule: rule.to_string(), stands: *stands, latched: *latched, failed: *failed })
        }
        EventBody::Proved { interlock, passed, evidence: on, untested } => Body::Proved(of::Proved {
            untested: *untested,
            interlock: kind(*interlock).into(),
            passed: *passed,
            evidence: values::evidence(*on).into(),
        }),
        EventBody::ProofVoid { interlock } => Body::ProofVoid(of::ProofVoid { interlock: kind(*interlock).into() }),
        EventBody::ProofsOwed { interlocks } => Body::ProofsOwed(of::ProofsOwed { interlocks: kinds(interlocks) }),
        EventBody::Permitted { ceiling_c } => Body::Permitted(of::Permitted { ceiling_c: tidy(*ceiling_c) }),
        EventBody::Withheld { by } => Body::Withheld(of::Withheld { by: kinds(by) }),
        EventBody::CycleBegan { .. }
        | EventBody::StepBegan { .. }
        | EventBody::StepEnded { .. }
        | EventBody::PurgeProved { .. }
        | EventBody::PurgeBroken { .. }
        | EventBody::Recovered { .. }
        | EventBody::PartUnder { .. }
        | EventBody::CycleEnded { .. } => load_body(body),
        EventBody::Held => Body::Held(of::Held {}),
        EventBody::Resumed => Body::Resumed(of::Resumed {}),
        EventBody::RodeThrough { gap_ms } => Body::RodeThrough(of::RodeThrough { gap_ms: *gap_ms }),
        EventBody::Asked { question, ask: what, default } => Body::Asked(of::Asked {
            question_id: question.0,
            ask: Some(ask(what)),
            default_choice: default.map_or(v1::Choice::Unspecified, |(default, _)| choice(default)).into(),
            default_at_shop_ms: default.map(|(_, at)| at),
        }),
        EventBody::Answered { question, by_silence, choice: chosen } => Body::Answered(of::Answered {
            question_id: question.0,
            by_silence: *by_silence,
            choice: chosen.map_or(v1::Choice::Unspecified, choice).into(),
        }),
        EventBody::Withdrawn { question } => Body::Withdrawn(of::Withdrawn { question_id: question.0 }),
        EventBody::Entered { point: id, value } => {
            Body::Entered(of::Entered { point: point(*id), value: value.as_ref().map(values::value) })
        }
        EventBody::Record { failing } => Body::Record(of::Record { failing: *failing }),
        EventBody::Alarm { .. } | EventBody::AlarmFlood { .. } | EventBody::HornSilenced => alarm_body(body),
        EventBody::Noted => Body::Noted(of::Noted {}),
    }
}

/// # Panics
/// With a kind that [`body`] does not hand on.
fn load_body(body: &EventBody) -> Body {
    match body {
        EventBody::CycleBegan { load, steel, steps } => {
            Body::CycleBegan(of::CycleBegan { load: load.to_string(), steel: steel.clone(), steps: (*steps).into() })
        }
        EventBody::StepBegan { load, index, step } => {
            Body::StepBegan(of::StepBegan { load: load.to_string(), index: (*index).into(), step: step_kind(*step).into() })
        }
        EventBody::StepEnded { load, index, step, took_ms, complete } => Body::StepEnded(of::StepEnded {
            load: load.to_string(),
            index: (*index).into(),
            step: step_kind(*step).into(),
            took_ms: *took_ms,
            complete: *complete,
        }),
        EventBody::PurgeProved { changes, evidence, probe_ppm, estimate_ppm } => Body::PurgeProved(of::PurgeProved {
            changes: *changes,
            evidence: values::evidence(*evidence).into(),
            probe_ppm: *probe_ppm,
            estimate_ppm: *estimate_ppm,
        }),
        EventBody::PurgeBroken { changes } => Body::PurgeBroken(of::PurgeBroken { changes: *changes }),
        EventBody::Recovered { open_ms, exposure_ppm_s } => {
            Body::Recovered(of::Recovered { open_ms: *open_ms, exposure_ppm_s: *exposure_ppm_s })
        }
        EventBody::PartUnder { load, part, transfer_ms, in_time } => Body::PartUnder(of::PartUnder {
            load: load.to_string(),
            part: (*part).into(),
            transfer_ms: *transfer_ms,
            in_time: *in_time,
        }),
        EventBody::CycleEnded { load, outcome, soaked_ms } => {
            Body::CycleEnded(of::CycleEnded { load: load.to_string(), outcome: outcome.clone(), soaked_ms: *soaked_ms })
        }
        _ => unreachable!("not handed on: {}", body.kind()),
    }
}

/// # Panics
/// With a kind that [`body`] does not hand on.
fn alarm_body(body: &EventBody) -> Body {
    match body {
        EventBody::Alarm { alarm, state, first, reason, shelved_ms } => Body::Alarm(of::Alarm {
            alarm: alarm.clone(),
            state: alarms::state(*state).into(),
            first: *first,
            reason: reason.clone(),
            shelved_ms: *shelved_ms,
        }),
        EventBody::AlarmFlood { flood, raised } => Body::AlarmFlood(of::AlarmFlood { flood: *flood, raised: *raised }),
        EventBody::HornSilenced => Body::HornSilenced(of::HornSilenced {}),
        _ => unreachable!("not handed on: {}", body.kind()),
    }
}

fn via(via: Via) -> v1::Via {
    match via {
        Via::Controller => v1::Via::Controller,
        Via::Contactor => v1::Via::Contactor,
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use hearthward_equipment::{Directory, Evidence, Generation, Name, Value};
    use hearthward_supervise::alarm::AlarmState;
    use hearthward_supervise::interlock::InterlockKind;
    use hearthward_supervise::recipe::StepKind;
    use hearthward_supervise::request::{Ask, Choice, QuestionId};

    use super::*;

    /// One of every kind, on a unit and a point that have names.
    fn one_of_each() -> (Vec<EventBody>, Names) {
        let mut directory = Directory::default();
        let point = directory.point(&"io/north.door-open".parse().expect("an address"));
        let unit = directory.unit(&"io/north".parse().expect("an address"));
        let (generation, interlock, question) = (Generation(3), InterlockKind::Stop, QuestionId(9));
        let load: Name = "irons".parse().expect("a name");
        let all = vec![
            EventBody::Began { away_ms: Some(7), clean: true },
            EventBody::Ending,
            EventBody::Unit { unit, state: "silent".into(), detail: String::new() },
            EventBody::Output { unit: Some(unit), done: false, detail: "no answer".into() },
            EventBody::PointQuality { point, quality: "stale".into() },
            EventBody::Cut { generation, via: Via::Contactor, because: vec![interlock] },
            EventBody::CutConfirmed { generation, after_ms: 5 },
            EventBody::CutUnconfirmed { generation, detail: "no answer".into() },
            EventBody::Tripped { interlock, latched: true, first: true, acts: false },
            EventBody::Cleared { interlock },
            EventBody::Reset { interlock },
            EventBody::Bypassed { interlock, reason: "a long temper".into(), for_ms: 3_600_000 },
            EventBody::Restored { interlock, lapsed: true },
            EventBody::Rule { rule: load.clone(), stands: true, latched: true, failed: false },
            EventBody::Proved { interlock, passed: true, evidence: Evidence::Measured, untested: false },
            EventBody::ProofVoid { interlock },
            EventBody::ProofsOwed { interlocks: vec![interlock] },
            EventBody::Permitted { ceiling_c: 150.0 },
            EventBody::Withheld { by: vec![interlock] },
            EventBody::CycleBegan { load: load.clone(), steel: "O1".into(), steps: 8 },
            EventBody::StepBegan { load: load.clone(), index: 1, step: StepKind::Ramp },
            EventBody::StepEnded { load: load.clone(), index: 1, step: StepKind::Ramp, took_ms: 6, complete: true },
            EventBody::PurgeProved { changes: 5.0, evidence: Evidence::Measured, probe_ppm: None, estimate_ppm: None },
            EventBody::PurgeBroken { changes: 2.0 },
            EventBody::Recovered { open_ms: 4, exposure_ppm_s: 1.0 },
            EventBody::PartUnder { load: load.clone(), part: 1, transfer_ms: 3100, in_time: true },
            EventBody::CycleEnded { load, outcome: "complete".into(), soaked_ms: 600_000 },
            EventBody::Held,
            EventBody::Resumed,
            EventBody::RodeThrough { gap_ms: 900 },
            EventBody::Asked { question, ask: Ask::TurnOff, default: Some((Choice::End, 12)) },
            EventBody::Answered { question, by_silence: false, choice: None },
            EventBody::Withdrawn { question },
            EventBody::Entered { point, value: Some(Value::Flag(true)) },
            EventBody::Record { failing: true },
            EventBody::Alarm {
                alarm: "furnace/north/stop".into(),
                state: AlarmState::Shelved,
                first: false,
                reason: "it is known".into(),
                shelved_ms: Some(60_000),
            },
            EventBody::AlarmFlood { flood: true, raised: 10 },
            EventBody::HornSilenced,
            EventBody::Noted,
        ];
        (all, Names { furnaces: Vec::new(), directory })
    }

    #[test]
    fn the_word_of_every_kind_names_its_field() {
        let (all, names) = one_of_each();
        let set = prost_types::FileDescriptorSet::decode(hearthward_proto::FILE_DESCRIPTOR_SET).expect("a descriptor set");
        let event = set.file.iter().flat_map(|file| &file.message_type).find(|message| message.name() == "Event");
        let mut fields: BTreeSet<String> = event
            .expect("the contract has events")
            .field
            .iter()
            .filter(|field| field.oneof_index.is_some())
            .map(|field| field.name().to_owned())
            .collect();
        for inner in &all {
            let said = format!("{:?}", body(inner, &names));
            let variant: String = inner.kind().split('_').map(|word| word[..1].to_uppercase() + &word[1..]).collect();
            assert!(said.starts_with(&variant), "{} became {said}", inner.kind());
            assert!(fields.remove(inner.kind()), "{} has no field, or was there twice", inner.kind());
        }
        assert!(fields.is_empty(), "nothing says {fields:?}");
    }

    #[test]
    fn numbers_become_names() {
        let (all, names) = one_of_each();
        let text = format!("{:?}", all.iter().map(|inner| body(inner, &names)).collect::<Vec<_>>());
        assert!(
            text.contains("Unit { unit: \"io/north\"") && text.contains("Entered { point: \"io/north.door-open\", value: Some("),
            "{text}"
        );
    }
}
