//! The tables that are not equipment: shop, API, journal, host, lines and drivers.

use std::collections::BTreeMap;
use std::fmt;
use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Duration;

use config::{Value, ValueKind};
use hearthward_drivers::{DriverSpec, LineKind, LineSpec, Setting};
use hearthward_equipment::Name;
use hearthward_journal::InputsKept;

use super::section::{Section, flatten, words};
use super::{Settings, alarms, equipment, folders, furnace, policy, quantities, recipe};

/// Where the API is offered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Listen {
    /// A loopback address and port.
    Tcp(SocketAddr),
    /// A Unix socket.
    Unix(PathBuf),
}

impl Listen {
    /// The address that service and command line share unless told otherwise.
    pub const USUAL: &'static str = "127.0.0.1:4170";

    /// The same, if it can be offered there: a socket is made in a folder that is there already.
    fn in_a_folder(self) -> Result<Self, String> {
        if let Self::Unix(path) = &self {
            let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
            if !folder.is_dir() {
                return Err(format!("lies in {}, which is no folder here; make it, or name another", folder.display()));
            }
        }
        Ok(self)
    }
}

impl FromStr for Listen {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        if let Some(path) = text.strip_prefix("unix:") {
            return match path.is_empty() {
                true => Err("names no socket; write its path, like \"unix:/run/hearthward/api\"".to_owned()),
                false => Ok(Self::Unix(path.into())),
            };
        }
        let address: SocketAddr = text.parse().map_err(|_| {
            format!(
                "{text:?} is not an address: write a loopback address and port like \"{}\", or \"unix:/run/hearthward/api\"",
                Self::USUAL
            )
        })?;
        if address.ip().is_loopback() {
            return Ok(Self::Tcp(address));
        }
        Err(format!(
            "{text} can be reached from other computers, and the API has no locks on it yet; use 127.0.0.1 or a Unix socket"
        ))
    }
}

impl From<Listen> for hearthward_api::Address {
    fn from(listen: Listen) -> Self {
        match listen {
            Listen::Tcp(address) => Self::Tcp(address),
            Listen::Unix(path) => Self::Unix(path),
        }
    }
}

impl From<hearthward_api::Address> for Listen {
    fn from(address: hearthward_api::Address) -> Self {
        match address {
            hearthward_api::Address::Tcp(address) => Self::Tcp(address),
            hearthward_api::Address::Unix(path) => Self::Unix(path),
        }
    }
}

impl fmt::Display for Listen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tcp(address) => write!(f, "{address}"),
            Self::Unix(path) => write!(f, "unix:{}", path.display()),
        }
    }
}

/// Where drivers are looked for and kept compiled.
#[derive(Clone, Debug)]
pub struct HostSettings {
    /// Folder of driver files, for components named without a folder.
    pub drivers: PathBuf,
    /// Folder of compiled drivers; nobody but the service may write there.
    pub cache: PathBuf,
}

/// A driver, with the place that problems of its settings are shown at.
#[derive(Clone, Debug)]
pub struct DriverSettings {
    /// What the host is told.
    pub spec: DriverSpec,
    /// Where its settings are written.
    pub home: String,
    /// Where each of its settings that the configuration holds itself is written, by the driver's own key.
    pub places: BTreeMap<String, String>,
}

pub(super) fn settings(root: &Section<'_>, base: &Path, merged: String) -> Settings {
    let (name, scan, ride_through) = shop(root);
    let listen = root.section("api").and_then(|api| {
        let listen = api.read("listen", |text| Listen::from_str(text).and_then(Listen::in_a_folder));
        api.finish();
        listen
    });
    let journal = root.section("journal").map(|journal| {
        let path = journal.read("file", |text| folders::a_journal(text, base));
        let usual = InputsKept::default();
        let inputs = InputsKept {
            time: journal.number("inputs_days", 0.0, 3660.0).map_or(usual.time, |days| Duration::from_secs_f64(days * 86_400.0)),
            bytes: journal.number("inputs_mb", 0.0, 1e6).map_or(usual.bytes, |megabytes| (megabytes * 1e6) as u64),
        };
        journal.finish();
        (path, inputs)
    });
    let (journal, inputs) = journal.unwrap_or_default();
    let recipes = recipe::recipes(root);
    let host = host(root, base);
    // Those of a driver whose name will not do are used all the same.
    let used = root.section("driver").map(|drivers| drivers.listed_within("lines")).unwrap_or_default();
    Settings {
        journal: journal.unwrap_or_else(|| folders::journal(&name, base)),
        name,
        scan,
        ride_through,
        listen: listen.unwrap_or_else(|| Listen::Tcp(SocketAddr::from(([127, 0, 0, 1], 4170)))),
        inputs,
        drivers: root.named("driver").into_iter().filter_map(|(name, section)| driver(name, section, base, &host)).collect(),
        host,
        lines: root.named("line").into_iter().filter_map(|(name, section)| line(name, section, &used)).collect(),
        line_names: names(root, "line"),
        driver_names: names(root, "driver"),
        supply_names: names(root, "supply"),
        furnace_names: names(root, "furnace"),
        tank_names: names(root, "tank"),
        supplies: equipment::supplies(root),
        furnaces: furnace::furnaces(root),
        tanks: equipment::tanks(root),
        room: equipment::room(root),
        alarms: alarms::alarms(root),
        electrical_demand: root.section("share").and_then(|share| {
            let demand = share.read("electrical_demand", quantities::power);
            share.finish();
            demand
        }),
        rules: policy::rules(root),
        recipes,
        merged,
    }
}

/// All tables of a kind, also those with problems of their own, so that nobody is told that they are not there.
fn names(root: &Section<'_>, kind: &'static str) -> Vec<Name> {
    root.named(kind).into_iter().map(|(name, _)| name).collect()
}

fn shop(root: &Section<'_>) -> (String, Duration, Duration) {
    let Some(shop) = root.section("shop") else {
        root.missing("shop", "[shop] with name = \"Alder Yard Edge Tools\"");
        return (String::new(), SCAN, RIDE_THROUGH);
    };
    let name = shop.need("name", "name = \"Alder Yard Edge Tools\"", words);
    let scan = shop.read("scan", |text| quantities::duration_in(text, 10, 5_000));
    let ride_through = shop.read("ride_through", |text| quantities::duration_in(text, 0, 600_000));
    shop.finish();
    (name.unwrap_or_default(), scan.unwrap_or(SCAN), ride_through.unwrap_or(RIDE_THROUGH))
}

fn host(root: &Section<'_>, base: &Path) -> HostSettings {
    let section = root.section("host");
    let folder = |entry| section.as_ref().and_then(|host| host.read(entry, |text| folders::a_folder(text, base)));
    let (drivers, cache) = (folder("drivers"), folder("cache"));
    if let Some(section) = section {
        section.finish();
    }
    HostSettings {
        drivers: drivers.unwrap_or_else(|| base.join("drivers")),
        cache: cache.unwrap_or_else(|| folders::cache(base)),
    }
}

fn line(name: Name, section: Section<'_>, used: &[String]) -> Option<LineSpec> {
    if !used.iter().any(|line| *line == *name.as_str()) {
        section.lacks("", "is used by no driver; name it in the `lines` of one, or take it out");
    }
    let tcp = section.need("tcp", "tcp = \"192.0.2.10:502\"", |text| match text.rsplit_once(':') {
        Some((host, port)) if is_host(host) && port.parse::<u16>().is_ok_and(|port| port > 0) => Ok(text.to_owned()),
        _ => Err(format!(
            "{text:?} is not a host and port; write it like \"192.0.2.10:502\", \"north-controller:502\" or \"[2001:db8::10]:502\""
        )),
    });
    let turnaround = section.read("turnaround", |text| quantities::duration_in(text, 0, 2_000));
    section.finish();
    Some(LineSpec { name, kind: LineKind::Tcp { address: tcp? }, turnaround: turnaround.unwrap_or(Duration::ZERO) })
}

/// Whether this can be the address or the name of a computer. Names are not looked up: that would touch the network.
fn is_host(text: &str) -> bool {
    if let Some(inner) = text.strip_prefix('[') {
        return inner.strip_suffix(']').is_some_and(|inner| inner.parse::<Ipv6Addr>().is_ok());
    }
    let last = text.rsplit('.').next().unwrap_or_default();
    // A name never ends in a number (RFC 1123, 2.1, from memory): what does is an address of four, or a slip.
    if last.bytes().all(|byte| byte.is_ascii_digit()) {
        return text.parse::<Ipv4Addr>().is_ok();
    }
    let is_part = |part: &str| {
        !part.is_empty()
            && part.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'_')
            && !part.starts_with('-')
    };
    text.len() <= 253 && text.split('.').all(is_part)
}

fn driver(name: Name, section: Section<'_>, base: &Path, host: &HostSettings) -> Option<DriverSettings> {
    let component = section.need("component", "component = \"modbus-registers.wasm\"", |text| match text.trim().is_empty() {
        true => Err("is empty; name the driver's file, such as \"modbus-registers.wasm\""),
        false => Ok(PathBuf::from(text)),
    });
    let sha256 = section.read("sha256", |text| match text.len() == 64 && text.chars().all(|c| c.is_ascii_hexdigit()) {
        true => Ok(text.to_ascii_lowercase()),
        false => Err(format!("{text:?} is not a SHA-256 digest: 64 hexadecimal digits, as `sha256sum` prints them")),
    });
    let lines = section.listed("lines").into_iter().filter_map(|text| match Name::new(text) {
        Ok(name) => Some(name),
        Err(words) => {
            section.problem("lines", words.to_string());
            None
        }
    });
    let lines = lines.collect();
    let flat = section.flattened("settings");
    let places = flat.iter().filter_map(|(key, value)| Some((key.clone(), value.origin()?.to_owned()))).collect();
    let mut settings = scalars(flat, &section);
    if let Some(file) = section.text("map") {
        settings.extend(map_file(&base.join(&file), &section));
    }
    let poll = section.read("poll", |text| quantities::duration_in(text, 20, 60_000)).unwrap_or(POLL);
    let call_limit = section.read("call_limit", |text| quantities::duration_in(text, 50, 60_000)).unwrap_or(CALL_LIMIT);
    let home = section.home().to_owned();
    section.finish();
    let component = component?;
    let component = if component.components().count() > 1 { base.join(component) } else { host.drivers.join(component) };
    let spec = DriverSpec { name, component, sha256, lines, settings, poll_every: poll, call_limit };
    Some(DriverSettings { spec, home, places })
}

fn map_file(path: &Path, section: &Section<'_>) -> Vec<(String, Setting)> {
    let source = config::File::from(path).format(config::FileFormat::Toml);
    match config::Config::builder().add_source(source).build().and_then(|map| config::Source::collect(&map)) {
        Ok(values) => {
            let mut flat = Vec::new();
            let sorted: BTreeMap<_, _> = values.into_iter().collect();
            sorted.into_iter().for_each(|(key, value)| flatten(key, value, &mut flat));
            scalars(flat, section)
        }
        Err(error) => {
            section.problem("map", format!("{} cannot be read: {error}", path.display()));
            Vec::new()
        }
    }
}

fn scalars(flat: Vec<(String, Value)>, section: &Section<'_>) -> Vec<(String, Setting)> {
    let scalar = |(key, value): (String, Value)| match value.kind {
        ValueKind::Boolean(is) => Some((key, Setting::Flag(is))),
        ValueKind::Float(number) => Some((key, Setting::Number(number))),
        ValueKind::I64(whole) => Some((key, Setting::Whole(whole))),
        ValueKind::String(text) => Some((key, Setting::Text(text))),
        _ => {
            section.problem("settings", format!("{key} is neither a text, a number nor true or false"));
            None
        }
    };
    flat.into_iter().filter_map(scalar).collect()
}

/// Ten scans a second: a door is seen within a tenth, and a small computer is idle 99 % of the time.
const SCAN: Duration = Duration::from_millis(100);

/// As the guarantees have it: one minute unless set otherwise.
const RIDE_THROUGH: Duration = Duration::from_secs(60);

/// Ten reads a second, as often as the core decides.
const POLL: Duration = Duration::from_millis(100);

/// Long enough for three exchanges with a slow device, short enough that a hang is seen within the usual stale limit.
const CALL_LIMIT: Duration = Duration::from_secs(2);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_leads_to_an_address_or_a_name() {
        for good in ["192.0.2.10", "north-controller", "kiln_1.shop", "3com", "[::1]", "localhost"] {
            assert!(is_host(good), "{good}");
        }
        for bad in
            ["", "tcp://127.0.0.1", "192.168.1.300", "192.168.1", "north controller", "::1", "[::1", "a..b", "kiln/1", "-a"]
        {
            assert!(!is_host(bad), "{bad}");
        }
    }

    #[test]
    fn a_socket_needs_a_folder_that_is_there() {
        let folder = std::env::temp_dir();
        let there = Listen::Unix(folder.join("api"));
        assert_eq!(there.clone().in_a_folder(), Ok(there));
        let refused = Listen::Unix(folder.join("no-such-folder/api")).in_a_folder().expect_err("there is none");
        assert!(refused.contains("no-such-folder") && refused.contains("make it"), "{refused}");
        assert_eq!(Listen::Unix("api".into()).in_a_folder(), Ok(Listen::Unix("api".into())), "this folder");
    }
}
