//! The shop as it is now, on one screen.

use clap::Args;
use hearthward_proto::v1;
use hearthward_proto::v1::shop_service_client::ShopServiceClient;

use super::call::{block_on, connect, json, refused};
use super::cycle::question_line;
use super::{CallArgs, print, words};
use crate::exit::Ended;

#[derive(Debug, Args)]
pub(super) struct Status {
    /// Show every point that the configuration uses too.
    #[arg(long)]
    points: bool,
    #[command(flatten)]
    call: CallArgs,
}

impl Status {
    pub(super) fn run(self) -> Result<(), Ended> {
        let shop = block_on(async {
            let mut client = ShopServiceClient::new(connect(&self.call.at).await?);
            let response = client.get_shop(v1::GetShopRequest {}).await.map_err(refused)?.into_inner();
            Ok(response.shop.unwrap_or_default())
        })?;
        print::line(if self.call.json { json("Shop", &shop) } else { screen(&shop, self.points) })
    }
}

fn screen(shop: &v1::Shop, points: bool) -> String {
    let mut lines = vec![format!("{}, event {} of journal {}", shop.name, shop.last_seq, shop.journal_id)];
    if !shop.record_failing.is_empty() {
        lines.push(format!("!! The record cannot be written: {}", shop.record_failing));
    }
    if let Some(share) = shop.room_oxygen_share {
        lines.push(format!("room oxygen {:.1} %", share * 100.0));
    }
    shop.furnaces.iter().for_each(|furnace| lines.extend(self::furnace(furnace)));
    for tank in &shop.tanks {
        let ready = if tank.ready { "ready".to_owned() } else { tank.text.clone() };
        let kept = if tank.kept_for.is_empty() { String::new() } else { format!(", kept for {}", tank.kept_for) };
        lines.push(format!("\ntank {}: {}, {ready}{kept}", tank.name, words::or_none(tank.temperature_c, 1, "°C")));
    }
    for supply in &shop.supplies {
        let gauge = gauge(supply);
        let flow = supply.flow_l_min.map_or_else(|| "an unknown flow".to_owned(), |l_min| format!("{l_min:.1} L/min"));
        lines.push(format!("supply {}: {gauge}{flow} to all furnaces", supply.name));
    }
    if let Some(alarms) = shop.alarms.as_ref().filter(|alarms| !alarms.alarms.is_empty()) {
        lines.push("\nalarms:".to_owned());
        lines.extend(super::alarm::lines(alarms));
    }
    if !shop.questions.is_empty() {
        lines.push("\nasked:".to_owned());
        lines.extend(shop.questions.iter().map(question_line));
    }
    lines.extend(by_hand(&shop.readings));
    if points {
        lines.push("\npoints:".to_owned());
        lines.extend(shop.readings.iter().map(reading));
    }
    lines.join("\n")
}

/// What the gauge of a supply shows; nothing where it has none.
fn gauge(supply: &v1::Supply) -> String {
    match supply.pressure_kpa {
        Some(kpa) => format!("{:.0} bar, ", kpa / 100.0),
        None if supply.gauged => "no good gauge reading, ".to_owned(),
        None => String::new(),
    }
}

/// So many names that a line holds them; the matrix has them all.
fn few(names: &[String]) -> String {
    const SHOWN: usize = 4;
    match names.len().saturating_sub(SHOWN) {
        0 => names.join(", "),
        more => format!("{} and {more} more", names[..SHOWN].join(", ")),
    }
}

fn furnace(furnace: &v1::Furnace) -> Vec<String> {
    let heat = match (furnace.wanted_c, furnace.ceiling_c) {
        _ if furnace.heating() == v1::Heating::Watched => "only watched".to_owned(),
        (Some(wanted), None) if furnace.heating() == v1::Heating::ByHand => format!("set by hand, as asked, to {wanted:.0} °C"),
        (None, None) if furnace.heating() == v1::Heating::ByHand => "set by hand, and to be off now".to_owned(),
        (Some(_), None) => "heat withheld".to_owned(),
        (None, None) => "no heat is wanted".to_owned(),
        (Some(wanted), Some(ceiling)) if wanted > ceiling => {
            format!("heating to {ceiling:.0} °C, the most that is permitted now of the {wanted:.0} °C wanted")
        }
        (Some(wanted), Some(_)) => format!("heating to {wanted:.0} °C"),
        (None, Some(ceiling)) => format!("may heat up to {ceiling:.0} °C"),
    };
    let has_switch = furnace.interlocks.iter().any(|lock| lock.kind() == v1::InterlockKind::DoorOpen);
    let door = match furnace.door_open {
        Some(true) => "door OPEN",
        Some(false) => "door shut",
        None if has_switch => "door UNKNOWN: its switch cannot be read",
        None => "no door switch",
    };
    let mut lines =
        vec![format!("\nfurnace {}: {}, {heat}, {door}", furnace.name, words::or_none(furnace.temperature_c, 1, "°C"))];
    lines.push(format!("  if this computer dies, heat is cut by: {}", furnace.if_computer_dies));
    let warns: Vec<String> =
        furnace.interlocks.iter().filter(|lock| !lock.acts).map(|lock| words::interlock(lock.kind())).collect();
    if !warns.is_empty() {
        lines.push(format!("  warns only: {}", warns.join(", ")));
    }
    if let (Some(delivered), Some(owed)) = (furnace.changes_delivered, furnace.changes_owed) {
        let proved = if furnace.purge_proved { "proved" } else { "not proved" };
        let flow = words::or_none(furnace.flow_l_min, 1, "L/min");
        lines.push(format!("  purge {proved}: {delivered:.1} of {owed:.1} volume changes, {flow}"));
    }
    if let Some(ppm) = furnace.probe_ppm {
        lines.push(format!("  oxygen by the probe: {}", words::share(ppm * 1e-6)));
    }
    if let Some(estimate) = &furnace.estimate {
        let number = estimate
            .low_ppm
            .zip(estimate.high_ppm)
            .map(|(low, high)| format!("{} to {}; ", words::share(low * 1e-6), words::share(high * 1e-6)));
        lines.push(format!("  oxygen by estimate: {}{}", number.unwrap_or_default(), estimate.basis));
    }
    if let Some(cycle) = &furnace.cycle {
        let step = words::word(cycle.step().as_str_name(), "STEP_KIND");
        let place = format!("step {} of {}", cycle.step_index + 1, cycle.steps);
        let held = if cycle.held { ", HELD" } else { "" };
        lines.push(format!("  load {} ({}): {step}, {place}, {}{held}", cycle.load, cycle.steel, words::span(cycle.step_ms)));
        if !cycle.waiting_for.is_empty() {
            lines.push(format!("    waits for {}", cycle.waiting_for));
        }
    }
    let bypassed = furnace.interlocks.iter().filter_map(|lock| lock.bypass.as_ref().map(|bypass| (lock, bypass)));
    lines.extend(bypassed.map(|(lock, bypass)| {
        let left = words::span(bypass.left_ms);
        format!("  BYPASSED {} by {} for another {left}: {}", words::interlock(lock.kind()), bypass.person, bypass.reason)
    }));
    let owed: Vec<String> =
        furnace.interlocks.iter().filter(|lock| lock.proof_owed).map(|lock| words::interlock(lock.kind())).collect();
    if !owed.is_empty() {
        lines.push(format!("  proof tests owed (hearthward interlock test): {}", few(&owed)));
    }
    let standing = furnace.interlocks.iter().filter(|lock| lock.state() != v1::InterlockState::Clear);
    lines.extend(standing.map(|lock| format!("  {} {}", words::interlock(lock.kind()), lock.text)));
    lines
}

/// What people read and enter, how old it is, and the command for the next time.
fn by_hand(readings: &[v1::Reading]) -> Vec<String> {
    let kept = readings.iter().filter(|reading| reading.evidence() == v1::Evidence::Confirmed);
    let lines: Vec<String> = kept
        .map(|reading| {
            let worth = match reading.quality() {
                v1::Quality::Good => format!("{}, good", words::value(reading.value.as_ref())),
                v1::Quality::Uncertain => format!("{}, getting old", words::value(reading.value.as_ref())),
                _ => "not entered, or too old".to_owned(),
            };
            format!("  {worth:<28} hearthward enter {} {}", reading.point, words::example(&reading.point, reading.value.as_ref()))
        })
        .collect();
    if lines.is_empty() { lines } else { [vec!["\nkept by hand; read it and enter it:".to_owned()], lines].concat() }
}

fn reading(reading: &v1::Reading) -> String {
    let quality = words::word(reading.quality().as_str_name(), "QUALITY");
    let age = reading.age_ms.map_or_else(|| "never read".to_owned(), |ms| format!("{} ago", words::span(ms)));
    format!("  {:<44} {:>14}  {quality:<9} {age}", reading.point, words::value(reading.value.as_ref()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: a reading is missed only where there is something to read.
    #[test]
    fn a_supply_without_a_gauge_misses_no_reading() {
        let shown = |pressure_kpa, gauged| gauge(&v1::Supply { pressure_kpa, gauged, ..v1::Supply::default() });
        assert_eq!(shown(Some(14_000.0), true), "140 bar, ");
        assert_eq!(shown(None, true), "no good gauge reading, ");
        assert_eq!(shown(None, false), "");
    }
}
