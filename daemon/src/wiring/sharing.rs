//! What two drivers must not share without knowing of each other: a way to a device, and an output.

use std::collections::BTreeMap;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

use hearthward_drivers::LineKind;
use hearthward_equipment::{Name, UnitAddress};

use super::catalogue::Catalogue;
use crate::settings::{Problems, Settings};

/// Notes lines that lead to the same place, and outputs that two units write.
pub(super) fn check(settings: &Settings, catalogue: &Catalogue, problems: &Problems) {
    lines_lead_apart(settings, problems);
    outputs_are_apart(settings, catalogue, problems);
}

/// Two lines to one place take no turns: a cut on one would not go ahead of a read on the other.
fn lines_lead_apart(settings: &Settings, problems: &Problems) {
    let mut known: BTreeMap<String, &str> = BTreeMap::new();
    for line in &settings.lines {
        let LineKind::Tcp { address } = &line.kind else { continue };
        if let Some(other) = known.insert(place(address), line.name.as_str()) {
            let words =
                format!("leads where line {other} leads already; name line {other} in the `lines` of both drivers instead");
            problems.note("", format!("line.{}.tcp", line.name), words);
        }
    }
}

/// An address without the differences that mean nothing. Names are not looked up: that would touch the network.
fn place(address: &str) -> String {
    let lower = address.trim().to_lowercase();
    let here = lower.strip_prefix("localhost:").and_then(|port| port.parse().ok());
    let socket = here.map(|port: u16| SocketAddr::from((Ipv4Addr::LOCALHOST, port))).or_else(|| lower.parse().ok());
    socket.map_or(lower, |socket| match socket.ip() {
        IpAddr::V6(ip) if ip.is_loopback() => SocketAddr::from((Ipv4Addr::LOCALHOST, socket.port())).to_string(),
        _ => socket.to_string(),
    })
}

/// An output in words that are the same for every driver that writes there; nothing if a driver's note of it makes no sense.
fn place_of(noted: &str, lines: &[Name]) -> Option<String> {
    let (line, what) = noted.split_once(':')?;
    let line = lines.get(line.parse::<usize>().ok()?)?;
    (!what.trim().is_empty()).then(|| format!("line {line}, {what}"))
}

fn outputs_are_apart(settings: &Settings, catalogue: &Catalogue, problems: &Problems) {
    let mut writers: BTreeMap<String, &UnitAddress> = BTreeMap::new();
    for (unit, facts) in catalogue.units() {
        let Some(driver) = settings.drivers.iter().find(|driver| driver.spec.name == unit.driver) else { continue };
        for noted in facts.noted("occupies") {
            let Some(output) = place_of(noted, &driver.spec.lines) else {
                let words = format!(
                    "notes {noted:?} as an output of {unit}, which is not the number of one of its lines, a colon and words: whether two \
                     drivers write one output cannot be told; its author has to mend it (`occupies`, see sdk/README.md)"
                );
                problems.note(&driver.home, format!("driver.{}.component", unit.driver), words);
                continue;
            };
            match writers.get(&output) {
                // Units of one driver know of each other: what may not meet there, the driver refuses itself.
                Some(other) if other.driver != unit.driver => {
                    let words = format!("writes {output}, which {other} writes too; two drivers must not share an output");
                    problems.note(&driver.home, format!("driver.{}.settings.unit.{}", unit.driver, unit.unit), words);
                }
                Some(_) => {}
                None => {
                    writers.insert(output, unit);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use hearthward_equipment::Name;

    use super::{place, place_of};

    #[test]
    fn an_output_is_named_by_its_line_or_not_at_all() {
        let lines = [Name::new("loops").expect("a name")];
        assert_eq!(place_of("0:unit 3, coil 0", &lines).as_deref(), Some("line loops, unit 3, coil 0"));
        for noted in ["", "0", "0:", "1:unit 3, coil 0", "-1:unit 3", "loops:unit 3"] {
            assert_eq!(place_of(noted, &lines), None, "{noted:?}");
        }
    }

    #[test]
    fn one_place_has_one_name() {
        for same in ["127.0.0.1:502", "localhost:502", "LocalHost:502", "[::1]:502"] {
            assert_eq!(place(same), "127.0.0.1:502");
        }
        assert_ne!(place("127.0.0.1:503"), place("127.0.0.1:502"));
        assert_eq!(place("Kiln-1.shop:502"), "kiln-1.shop:502");
    }
}
