//! Alarms: which stand, and what people do about them.

use std::time::Duration;

use clap::{Args, Subcommand};
use hearthward_proto::v1;
use hearthward_proto::v1::alarm_service_client::AlarmServiceClient;

use super::call::{block_on, connect, json, refused, request_id};
use super::{CallArgs, PersonArgs, print, words};
use crate::exit::Ended;

#[derive(Debug, Subcommand)]
pub(super) enum Alarm {
    /// Show the alarms that are not normal: what to do first comes first.
    List(List),
    /// Say that you know of an alarm. It resets nothing and heats nothing.
    Acknowledge(Acknowledge),
    /// Put an alarm aside for a time. Its interlock acts as before.
    #[command(after_help = SHELVE)]
    Shelve(Shelve),
    /// Bring a shelved alarm back before its time.
    Unshelve(Which),
    /// Put an alarm aside until it is mended and returned. Its interlock acts as before.
    #[command(after_help = OUT_OF_SERVICE)]
    OutOfService(TakeOut),
    /// Bring an alarm back into service.
    InService(Which),
    /// Stop the horn until the next urgent alarm. It acknowledges nothing.
    Silence(Silence),
}

const SHELVE: &str =
    "Example:\n  hearthward alarm shelve unit/bench/north-meter/unit-lost --for \"30 min\" --reason \"its hose is being changed\"
`hearthward alarm list --all` shows the names.";

const OUT_OF_SERVICE: &str =
    "Example:\n  hearthward alarm out-of-service unit/bench/north-meter/unit-lost --reason \"the meter is at its maker\"
`hearthward alarm list --all` shows the names; `hearthward alarm in-service` brings it back.";

#[derive(Debug, Args)]
pub(super) struct List {
    /// Every alarm that the shop has, also those that are normal.
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Acknowledge {
    /// The alarm, such as furnace/north/over-temperature; every one that waits for it unless given.
    alarm: Option<String>,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Which {
    /// The alarm, such as furnace/north/over-temperature.
    alarm: String,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Shelve {
    #[command(flatten)]
    which: Which,
    /// For how long, such as "30 min".
    #[arg(long = "for", value_name = "TIME", value_parser = words::span_of, allow_hyphen_values = true)]
    span: Duration,
    /// Why, for the record.
    #[arg(long)]
    reason: String,
}

#[derive(Debug, Args)]
pub(super) struct TakeOut {
    #[command(flatten)]
    which: Which,
    /// Why, for the record.
    #[arg(long)]
    reason: String,
}

#[derive(Debug, Args)]
pub(super) struct Silence {
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

macro_rules! command {
    ($call:expr, $method:ident, $request:expr, $response:literal) => {{
        let mut client = AlarmServiceClient::new(connect(&$call.at).await?);
        let response = client.$method($request).await.map_err(refused)?.into_inner();
        print::line(if $call.json { json($response, &response) } else { response.text })
    }};
}

impl Alarm {
    pub(super) fn run(self) -> Result<(), Ended> {
        block_on(async move {
            let request_id = request_id();
            match self {
                Self::List(list) => list.run().await,
                Self::Acknowledge(Acknowledge { alarm, person, call }) => {
                    let alarm = alarm.unwrap_or_default();
                    let request = v1::AcknowledgeAlarmRequest { request_id, person: person.name(), alarm };
                    command!(call, acknowledge_alarm, request, "AcknowledgeAlarmResponse")
                }
                Self::Shelve(Shelve { which: Which { alarm, person, call }, span, reason }) => {
                    let span_ms = u64::try_from(span.as_millis()).unwrap_or(u64::MAX);
                    let request = v1::ShelveAlarmRequest { request_id, person: person.responsible()?, alarm, reason, span_ms };
                    command!(call, shelve_alarm, request, "ShelveAlarmResponse")
                }
                Self::Unshelve(Which { alarm, person, call }) => {
                    let request = v1::UnshelveAlarmRequest { request_id, person: person.name(), alarm };
                    command!(call, unshelve_alarm, request, "UnshelveAlarmResponse")
                }
                Self::OutOfService(TakeOut { which: Which { alarm, person, call }, reason }) => {
                    let request = v1::TakeAlarmOutOfServiceRequest { request_id, person: person.responsible()?, alarm, reason };
                    command!(call, take_alarm_out_of_service, request, "TakeAlarmOutOfServiceResponse")
                }
                Self::InService(Which { alarm, person, call }) => {
                    let request = v1::ReturnAlarmToServiceRequest { request_id, person: person.name(), alarm };
                    command!(call, return_alarm_to_service, request, "ReturnAlarmToServiceResponse")
                }
                Self::Silence(Silence { person, call }) => {
                    let request = v1::SilenceHornRequest { request_id, person: person.name() };
                    command!(call, silence_horn, request, "SilenceHornResponse")
                }
            }
        })
    }
}

impl List {
    async fn run(self) -> Result<(), Ended> {
        let request = v1::GetAlarmsRequest { all: self.all };
        let mut client = AlarmServiceClient::new(connect(&self.call.at).await?);
        let response = client.get_alarms(request).await.map_err(refused)?.into_inner();
        if self.call.json {
            return print::line(json("GetAlarmsResponse", &response));
        }
        let alarms = response.alarms.unwrap_or_default();
        if alarms.alarms.is_empty() {
            return print::line("no alarms");
        }
        print::line(lines(&alarms).join("\n"))
    }
}

/// The alarms, one or two lines each: those that nobody knows of first, then by how soon somebody must act.
pub(super) fn lines(alarms: &v1::Alarms) -> Vec<String> {
    let mut sorted: Vec<&v1::Alarm> = alarms.alarms.iter().collect();
    sorted.sort_by_key(|alarm| (order(alarm.state()), std::cmp::Reverse(alarm.priority()), std::cmp::Reverse(alarm.state_ms)));
    let followed = sorted.iter().any(|alarm| alarm.first);
    let mut lines: Vec<String> = sorted.into_iter().map(line).collect();
    if followed {
        lines.push(
            "  [came first]: look there first; the others of that furnace, tank or unit may have followed from it".to_owned(),
        );
    }
    if alarms.flood {
        lines.push(format!("  {} alarms in ten minutes: look at the first of each group", alarms.raised));
    }
    if alarms.horn {
        lines.push("  the horn sounds: hearthward alarm silence".to_owned());
    }
    lines
}

fn order(state: v1::AlarmState) -> u8 {
    match state {
        v1::AlarmState::Unacknowledged | v1::AlarmState::LatchedUnacknowledged => 0,
        v1::AlarmState::Acknowledged | v1::AlarmState::LatchedAcknowledged => 1,
        v1::AlarmState::ReturnedUnacknowledged => 2,
        v1::AlarmState::Shelved | v1::AlarmState::OutOfService => 3,
        v1::AlarmState::Normal | v1::AlarmState::Unspecified => 4,
    }
}

fn line(alarm: &v1::Alarm) -> String {
    let state = words::word(alarm.state().as_str_name(), "ALARM_STATE").replace('-', " ");
    if alarm.state() == v1::AlarmState::Normal {
        return format!("     {:<44} {state}", alarm.alarm);
    }
    let first = if alarm.first { "  [came first]" } else { "" };
    let aside =
        if alarm.aside_by.is_empty() { String::new() } else { format!("\n       {}: {}", alarm.aside_by, alarm.aside_reason) };
    let mark = words::mark(alarm.priority());
    let since = words::span(alarm.state_ms);
    let cause = cause(alarm);
    format!("  {mark} {:<44} {state} for {since}, {cause}{first}\n       {}{aside}", alarm.alarm, alarm.text)
}

/// How its cause stands. One that is put aside hears nothing of it, and says where to look.
fn cause(alarm: &v1::Alarm) -> String {
    match alarm.state() {
        v1::AlarmState::Unacknowledged | v1::AlarmState::Acknowledged => "stands now".to_owned(),
        v1::AlarmState::ReturnedUnacknowledged | v1::AlarmState::Normal | v1::AlarmState::Unspecified => "not now".to_owned(),
        v1::AlarmState::LatchedUnacknowledged | v1::AlarmState::LatchedAcknowledged => "not now, but a reset is owed".to_owned(),
        v1::AlarmState::Shelved | v1::AlarmState::OutOfService => {
            let back = alarm.shelved_ms.map_or_else(String::new, |ms| format!("back in {}, ", words::span(ms)));
            format!("{back}its cause not told meanwhile (`{}`)", looked_at_by(&alarm.alarm))
        }
    }
}

/// The command that shows how things are where an alarm comes from.
fn looked_at_by(alarm: &str) -> String {
    match alarm.split('/').collect::<Vec<_>>()[..] {
        ["furnace", furnace, kind] if words::interlock_of(kind).is_ok() => format!("hearthward interlock list {furnace}"),
        ["unit", ..] => "hearthward driver".to_owned(),
        _ => "hearthward status".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn alarm(name: &str, state: v1::AlarmState, priority: v1::Priority) -> v1::Alarm {
        v1::Alarm { alarm: name.into(), state: state.into(), priority: priority.into(), ..v1::Alarm::default() }
    }

    #[test]
    fn what_nobody_knows_and_what_is_urgent_come_first() {
        use v1::AlarmState::{Acknowledged, Shelved, Unacknowledged};
        use v1::Priority::{Notice, Urgent, Warning};
        let alarms = v1::Alarms {
            alarms: vec![
                alarm("d", Shelved, Urgent),
                alarm("c", Acknowledged, Urgent),
                alarm("b", Unacknowledged, Warning),
                alarm("a", Unacknowledged, Urgent),
                alarm("e", Shelved, Notice),
            ],
            raised: 12,
            flood: true,
            horn: true,
        };
        let lines = lines(&alarms);
        let names: Vec<_> = lines.iter().filter_map(|line| line.get(5..6)).take(5).collect();
        assert_eq!(names, ["a", "b", "c", "d", "e"]);
        assert!(lines[5].contains("12 alarms") && lines[6].contains("horn"), "{lines:?}");
        let first =
            v1::Alarms { alarms: vec![v1::Alarm { first: true, ..alarm("a", Unacknowledged, Urgent) }], ..Default::default() };
        let lines = self::lines(&first);
        assert!(lines[0].contains("[came first]") && lines[1].contains("[came first]: look there first"), "{lines:?}");
    }

    /// Goal: each line says whether the cause stands, or where that is seen, and what its time is.
    #[test]
    fn a_line_says_whether_the_cause_stands() {
        use v1::AlarmState as Is;
        let told = |name: &str, state, shelved_ms| {
            let alarm = v1::Alarm { state_ms: 20_000, shelved_ms, ..alarm(name, state, v1::Priority::Urgent) };
            line(&alarm).lines().next().map(str::to_owned).unwrap_or_default()
        };
        let door = "furnace/north/door-open";
        assert!(told(door, Is::Unacknowledged, None).ends_with("unacknowledged for 20.0 s, stands now"));
        assert!(told(door, Is::Acknowledged, None).ends_with("acknowledged for 20.0 s, stands now"));
        assert!(told(door, Is::ReturnedUnacknowledged, None).ends_with("returned unacknowledged for 20.0 s, not now"));
        assert!(told(door, Is::LatchedAcknowledged, None).ends_with("20.0 s, not now, but a reset is owed"));
        let shelved = told(door, Is::Shelved, Some(60_000));
        assert!(shelved.contains("shelved for 20.0 s, back in 1 min 00 s, its cause not told"), "{shelved}");
        assert!(shelved.ends_with("(`hearthward interlock list north`)"), "{shelved}");
        assert!(told("unit/bench/north/unit-lost", Is::OutOfService, None).ends_with("(`hearthward driver`)"));
        assert!(told("furnace/north/temper-overdue", Is::Shelved, Some(1)).ends_with("(`hearthward status`)"));
    }
}
