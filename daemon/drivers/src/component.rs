//! Reading a driver's file and what it says of itself by its names alone, before any of its code is compiled or runs.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use wasmparser::{Encoding, Parser, Payload};
use wasmtime::component::Component;
use wasmtime::component::types::ComponentItem;

use crate::refusal::Refusal;

/// The most bytes of a driver's file. The largest that we know has a quarter of a megabyte; compiling costs about a second a
/// megabyte, so this bounds what a hostile file can cost.
pub(crate) const FILE_MOST: u64 = 8 << 20;

/// The package that drivers and we speak.
const PACKAGE: &str = "hearthward:equipment";

/// The contract that this service knows.
pub const CONTRACT: Version = Version { major: 0, minor: 1, patch: 0 };

/// What is there for a driver to import, by interface.
const OFFERED: [(&str, &[&str]); 4] =
    [("types", &[]), ("line", &["exchange", "send"]), ("shop-clock", &["now-ms"]), ("log", &["write"])];

/// The faces and powers that a driver may export beside `driver`.
pub(crate) const FACES: [&str; 5] = ["furnace", "flow-meter", "quench-tank", "points", "identify"];

/// A version of the contract.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Version {
    /// First number.
    pub major: u32,
    /// Second number; while the first is 0, a change here breaks drivers.
    pub minor: u32,
    /// Third number: only additions.
    pub patch: u32,
}

impl std::fmt::Display for Version {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}.{}.{}", self.major, self.minor, self.patch)
    }
}

impl Version {
    fn parse(text: &str) -> Option<Self> {
        let mut numbers = text.splitn(3, '.').map(|number| number.parse().ok());
        Some(Self { major: numbers.next()??, minor: numbers.next()??, patch: numbers.next()?? })
    }

    /// Versions of one track work together.
    fn track(self) -> (u32, u32) {
        (self.major, if self.major == 0 { self.minor } else { 0 })
    }
}

/// What a component's names tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Portrait {
    /// The contract that it was built against: the latest that one of its names mentions.
    pub(crate) contract: Version,
    /// The faces and powers that it exports.
    pub(crate) faces: Vec<&'static str>,
}

/// Reads the file within its limit.
pub(crate) fn read(path: &Path) -> Result<Vec<u8>, Refusal> {
    let unreadable = |why: std::io::Error| Refusal::Unreadable { path: path.to_owned(), why: why.to_string() };
    let found = path.metadata().map_err(unreadable)?;
    if !found.is_file() {
        // Opening a pipe would wait for whoever writes into it.
        return Err(Refusal::Unreadable { path: path.to_owned(), why: "it is not a file".to_owned() });
    }
    let (file, bytes) = (File::open(path).map_err(unreadable)?, found.len());
    if bytes > FILE_MOST {
        return Err(Refusal::TooLarge { path: path.to_owned(), bytes, most: FILE_MOST });
    }
    let mut content = Vec::new();
    // The file may grow while it is read.
    file.take(FILE_MOST + 1).read_to_end(&mut content).map_err(unreadable)?;
    if content.len() as u64 > FILE_MOST {
        return Err(Refusal::TooLarge { path: path.to_owned(), bytes: content.len() as u64, most: FILE_MOST });
    }
    Ok(content)
}

/// Makes a component of a core module; a component stays as it is.
pub(crate) fn as_component(path: &Path, bytes: Vec<u8>) -> Result<Vec<u8>, Refusal> {
    if Parser::is_component(&bytes) {
        return Ok(bytes);
    }
    if !Parser::is_core_wasm(&bytes) {
        return Err(not_a_driver(path, "it is not WebAssembly"));
    }
    let names = names(path, &bytes)?;
    // The encoder would complain of these in words of its own.
    for import in &names.imports {
        judge_import(path, import)?;
    }
    wit_component::ComponentEncoder::default()
        .validate(true)
        .module(&bytes)
        .and_then(|mut encoder| encoder.encode())
        .map_err(|why| not_a_driver(path, &format!("it cannot be made a component: {}", why.root_cause())))
}

/// Judges a component by its names.
pub(crate) fn portrait(path: &Path, bytes: &[u8]) -> Result<Portrait, Refusal> {
    let names = names(path, bytes)?;
    let mut contract = None;
    for import in &names.imports {
        contract = contract.max(judge_import(path, import)?);
    }
    let mut faces = Vec::new();
    let mut is_driver = false;
    for export in &names.exports {
        let Some((interface, version)) = ours(export) else { continue };
        judge_version(path, version)?;
        contract = contract.max(Some(version));
        is_driver |= interface == "driver";
        faces.extend(FACES.iter().filter(|face| **face == interface));
    }
    if !is_driver {
        return Err(not_a_driver(path, &format!("it does not export {PACKAGE}/driver@{CONTRACT}")));
    }
    Ok(Portrait { contract: contract.unwrap_or(CONTRACT), faces })
}

/// Looks at the functions of the imported interfaces: a component may ask for one that we do not have.
pub(crate) fn check_functions(path: &Path, engine: &wasmtime::Engine, component: &Component) -> Result<(), Refusal> {
    for (import, item) in component.component_type().imports(engine) {
        let (Some((interface, _)), ComponentItem::ComponentInstance(instance)) = (ours(import), item.ty) else { continue };
        let offered = OFFERED.iter().find(|(name, _)| *name == interface).map_or(&[][..], |(_, functions)| functions);
        for (function, item) in instance.exports(engine) {
            if matches!(item.ty, ComponentItem::ComponentFunc(_)) && !offered.contains(&function) {
                return Err(Refusal::MissingImport { path: path.to_owned(), name: format!("{import}.{function}") });
            }
        }
    }
    Ok(())
}

/// Refuses an import that is not ours to give.
fn judge_import(path: &Path, import: &str) -> Result<Option<Version>, Refusal> {
    let Some((interface, version)) = ours(import) else {
        return Err(Refusal::ForbiddenImport { path: path.to_owned(), name: import.to_owned() });
    };
    judge_version(path, version)?;
    if OFFERED.iter().any(|(name, _)| *name == interface) {
        Ok(Some(version))
    } else {
        Err(Refusal::MissingImport { path: path.to_owned(), name: import.to_owned() })
    }
}

fn judge_version(path: &Path, version: Version) -> Result<(), Refusal> {
    if version > CONTRACT {
        // Also within the track: a function that it counts on may be missing only when it is called.
        return Err(Refusal::TooNew { path: path.to_owned(), driver: version.to_string(), host_most: CONTRACT.to_string() });
    }
    if version.track() != CONTRACT.track() {
        return Err(Refusal::TooOld { path: path.to_owned(), driver: version.to_string(), host_least: CONTRACT.to_string() });
    }
    Ok(())
}

/// Interface and version of one of our names.
fn ours(name: &str) -> Option<(&str, Version)> {
    let (interface, version) = name.strip_prefix(PACKAGE)?.strip_prefix('/')?.split_once('@')?;
    Some((interface, Version::parse(version)?))
}

#[derive(Default)]
struct Names {
    imports: Vec<String>,
    exports: Vec<String>,
}

/// Names at the outermost level; those of modules and components inside are theirs alone.
fn names(path: &Path, bytes: &[u8]) -> Result<Names, Refusal> {
    let broken = |why: wasmparser::BinaryReaderError| not_a_driver(path, why.message());
    let mut names = Names::default();
    let mut depth = 0_u32;
    for payload in Parser::new(0).parse_all(bytes) {
        match payload.map_err(broken)? {
            Payload::Version { encoding: Encoding::Module | Encoding::Component, .. } => depth += 1,
            Payload::End(_) => depth = depth.saturating_sub(1),
            Payload::ImportSection(section) if depth == 1 => {
                for import in section.into_imports() {
                    names.imports.push(import.map_err(broken)?.module.to_owned());
                }
            }
            Payload::ComponentImportSection(section) if depth == 1 => {
                for import in section {
                    names.imports.push(import.map_err(broken)?.name.name.to_owned());
                }
            }
            Payload::ComponentExportSection(section) if depth == 1 => {
                for export in section {
                    names.exports.push(export.map_err(broken)?.name.name.to_owned());
                }
            }
            _ => {}
        }
    }
    Ok(names)
}

fn not_a_driver(path: &Path, why: &str) -> Refusal {
    Refusal::NotADriver { path: path.to_owned(), why: why.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: only our own names with a whole version are ours.
    #[test]
    fn names_are_told_apart() {
        assert_eq!(ours("hearthward:equipment/line@0.1.0"), Some(("line", CONTRACT)));
        for other in [
            "wasi:cli/run@0.2.0",
            "hearthward:equipment/line",
            "hearthward:equipment/line@0.1",
            "hearthward:equipmentx/line@0.1.0",
        ] {
            assert_eq!(ours(other), None, "{other}");
        }
    }

    /// Goal: every other version is refused to the right side.
    #[test]
    fn versions_are_judged() {
        let judge = |text: &str| judge_version(Path::new("x"), Version::parse(text).expect("a version"));
        assert!(judge("0.1.0").is_ok());
        for newer in ["0.1.1", "0.2.0", "1.0.0"] {
            assert!(matches!(judge(newer), Err(Refusal::TooNew { .. })), "{newer}");
        }
        assert!(matches!(judge("0.0.9"), Err(Refusal::TooOld { .. })));
    }
}
