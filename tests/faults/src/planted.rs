//! Bugs put into a copy of the core, one at a time, to see that the judge finds them.
//!
//! Each bug is a file that names a place in the core and the text to put there. All of them go into one copy, each behind a switch
//! that its number in the environment throws, so that the copy is built once. A text that is not found exactly once fails.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The environment's name of the bug that is switched on.
pub const SWITCH: &str = "HEARTHWARD_PLANTED";
/// Seeds within which each bug has to be found.
pub const SEEDS: u64 = 50;

/// A bug.
#[derive(Clone, Debug)]
pub struct Bug {
    /// Its name, as its file's.
    pub name: String,
    /// The core's file, from its folder on.
    file: String,
    from: String,
    to: String,
}

/// Reads all bugs, in the order of their names.
///
/// # Errors
/// A file that cannot be read or that lacks a part.
pub fn bugs() -> Result<Vec<Bug>, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("planted");
    let entries = fs::read_dir(&folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "txt"));
    paths.sort();
    paths.iter().map(|path| read(path)).collect()
}

/// A bug's file: words for people, then `file:`, then the two texts after lines `from:` and `to:`.
fn read(path: &Path) -> Result<Bug, String> {
    let said = |what: &str| format!("{}: {what}", path.display());
    let text = fs::read_to_string(path).map_err(|error| said(&error.to_string()))?;
    let (head, rest) = text.split_once("\nfrom:\n").ok_or_else(|| said("there is no line `from:`"))?;
    let (from, to) = rest.split_once("\nto:\n").ok_or_else(|| said("there is no line `to:`"))?;
    let file = head.lines().find_map(|line| line.strip_prefix("file: ")).ok_or_else(|| said("there is no line `file:`"))?;
    let name = path.file_stem().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let trimmed = |text: &str| text.trim_matches('\n').to_owned();
    Ok(Bug { name, file: file.trim().to_owned(), from: trimmed(from), to: trimmed(to) })
}

/// Makes the copy of the core with all bugs in it, builds the simulator on it, and hunts each bug. Says for each how it went.
///
/// # Errors
/// A bug that does not apply, a copy that does not build.
pub fn hunt(bugs: &[Bug]) -> Result<Vec<(String, Hunted)>, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let copy = root.join("target/planted");
    plant(&root, &copy, bugs)?;
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let built = Command::new(cargo)
        .args(["build", "--release", "--quiet", "--package", "hearthward-faults", "--target-dir"])
        .arg(copy.join("target"))
        .arg("--manifest-path")
        .arg(copy.join("Cargo.toml"))
        .env("CARGO_NET_OFFLINE", "true")
        .env("RUSTFLAGS", "--allow unused_braces")
        .status()
        .map_err(|error| format!("cargo cannot be started: {error}"))?;
    if !built.success() {
        return Err("the core does not build with the bugs in it: mend their texts in tests/faults/planted".to_owned());
    }
    let command = copy.join("target/release/hearthward-faults");
    let sound = run(&command, 0)?;
    if let Hunted::Found(what) = sound {
        return Err(format!("the copy breaks without any bug: {what}"));
    }
    bugs.iter().enumerate().map(|(place, bug)| Ok((bug.name.clone(), run(&command, place + 1)?))).collect()
}

/// How a hunt went.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Hunted {
    /// The judge found something, in its words.
    Found(String),
    /// It found nothing.
    Missed,
}

fn run(command: &Path, number: usize) -> Result<Hunted, String> {
    let output = Command::new(command)
        .args(["hunt", &SEEDS.to_string(), "--raw"])
        .env(SWITCH, number.to_string())
        .output()
        .map_err(|error| format!("{}: {error}", command.display()))?;
    let text = String::from_utf8_lossy(&output.stdout);
    let found = text.lines().find(|line| line.starts_with("seed "));
    match (output.status.success(), found) {
        (true, _) => Ok(Hunted::Missed),
        (false, Some(found)) => Ok(Hunted::Found(found.to_owned())),
        (false, None) => Err(format!("the simulator failed without a finding: {}", String::from_utf8_lossy(&output.stderr))),
    }
}

/// The crates that the copy is made of.
const CRATES: [&str; 4] = ["daemon/equipment", "daemon/process", "daemon/supervise", "tests/faults"];

fn plant(root: &Path, copy: &Path, bugs: &[Bug]) -> Result<(), String> {
    for folder in CRATES {
        let to = copy.join(folder);
        if to.exists() {
            fs::remove_dir_all(&to).map_err(|error| format!("{}: {error}", to.display()))?;
        }
        copy_folder(&root.join(folder), &to).map_err(|error| format!("{folder}: {error}"))?;
    }
    let manifest = fs::read_to_string(root.join("Cargo.toml")).map_err(|error| format!("Cargo.toml: {error}"))?;
    let (_, rest) = manifest.split_once("\n[workspace.package]").ok_or("Cargo.toml has no [workspace.package]")?;
    let members = CRATES.map(|folder| format!("{folder:?}")).join(", ");
    let manifest = format!("[workspace]\nresolver = \"3\"\nmembers = [{members}]\n\n[workspace.package]{rest}");
    write(&copy.join("Cargo.toml"), &manifest)?;
    let lock = fs::read_to_string(root.join("Cargo.lock")).map_err(|error| format!("Cargo.lock: {error}"))?;
    write(&copy.join("Cargo.lock"), &lock)?;
    let core = copy.join("daemon/supervise");
    for (place, bug) in bugs.iter().enumerate() {
        let file = core.join(&bug.file);
        let text = fs::read_to_string(&file).map_err(|error| format!("{}: {}: {error}", bug.name, bug.file))?;
        let count = text.matches(&bug.from).count();
        if count != 1 {
            return Err(format!("{}: its text is {count} times in {}, and must be once: {:?}", bug.name, bug.file, bug.from));
        }
        let number = place + 1;
        let switched = format!("{{ if crate::planted::is_on({number}) {{ {} }} else {{ {} }} }}", bug.to, bug.from);
        write(&file, &text.replacen(&bug.from, &switched, 1))?;
    }
    let library = core.join("src/lib.rs");
    let text = fs::read_to_string(&library).map_err(|error| format!("src/lib.rs: {error}"))?;
    write(&library, &format!("{text}{}", switches()))
}

/// The switches as the copy has them.
fn switches() -> String {
    format!(
        "
pub(crate) mod planted {{
    static ON: std::sync::OnceLock<usize> = std::sync::OnceLock::new();
    pub(crate) fn is_on(number: usize) -> bool {{
        *ON.get_or_init(|| std::env::var({SWITCH:?}).ok().and_then(|text| text.parse().ok()).unwrap_or(0)) == number
    }}
}}
"
    )
}

fn copy_folder(from: &Path, to: &Path) -> std::io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy_folder(&entry.path(), &target)?;
        } else {
            fs::copy(entry.path(), target)?;
        }
    }
    Ok(())
}

fn write(path: &Path, text: &str) -> Result<(), String> {
    fs::write(path, text).map_err(|error| format!("{}: {error}", path.display()))
}
