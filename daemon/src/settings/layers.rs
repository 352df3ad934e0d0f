//! Gathers the configuration from its layers: defaults, file, drop-in folder, environment, flags.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use config::{Config, ConfigError, File, FileFormat, Value, ValueKind};

use super::overrides::{self, Override};
use super::problem::Problems;
use super::section::flatten;
use super::unread;

/// Where the configuration comes from, the later layer winning over the earlier.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    /// The file. Beside `shop.toml`, every `*.toml` in `shop.d/` is read after it, in order of their names.
    pub file: Option<PathBuf>,
    /// A text below the file; the demo's shop comes this way.
    pub text: Option<String>,
    /// `key=value` from flags.
    pub set: Vec<(String, String)>,
    /// Whether `HEARTHWARD__…` variables of the environment count.
    pub environment: bool,
}

/// What the layers came to.
pub(super) struct Merged {
    pub(super) values: BTreeMap<String, Value>,
    /// The folder that relative paths start from.
    pub(super) base: PathBuf,
    /// The same as text, one `key = value` a line, sorted.
    pub(super) text: String,
}

pub(super) fn merge(sources: &Sources, problems: &Problems) -> Option<Merged> {
    let mut builder = Config::builder();
    let mut base = PathBuf::from(".");
    if let Some(text) = &sources.text {
        builder = builder.add_source(File::from_str(text, FileFormat::Toml));
    }
    if let Some(file) = &sources.file {
        base = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new(".")).to_owned();
        for path in std::iter::once(file.clone()).chain(drop_ins(file)) {
            problems.reads(&path);
            let source = File::from(path.as_path()).format(FileFormat::Toml);
            if path.is_dir() {
                let inside = path.join("shop.toml");
                problems.note(
                    path.display().to_string(),
                    "",
                    format!("is a folder; name the file in it, such as {}", inside.display()),
                );
                problems.read_in_part();
                continue;
            }
            if let Err(error) = Config::builder().add_source(source.clone()).build() {
                let mend = if path.exists() { "" } else { "; name the file with --config, or see deploy/example/shop.toml" };
                let why = unread::why(&path).unwrap_or_else(|| one_line(&error));
                problems.note(path.display().to_string(), "", format!("cannot be read: {why}{mend}"));
                problems.read_in_part();
                continue;
            }
            builder = builder.add_source(source);
        }
    }
    let below = match builder.build_cloned().and_then(|config| config::Source::collect(&config)) {
        Ok(values) => Value::new(None, ValueKind::Table(values)),
        Err(error) => return apart(&error, problems),
    };
    let mut said = Vec::new();
    if sources.environment {
        said = overrides::variables(std::env::vars_os(), &below, problems);
    }
    said.extend(sources.set.iter().map(|(key, text)| Override::of_flag(key, text)));
    for over in said {
        match builder.clone().set_override(&over.key, over.value(&below)) {
            Ok(next) => builder = next,
            Err(_) => {
                let words = "is no key; write names with a dot between them, like furnace.north.limit";
                problems.note(over.origin, "", format!("{:?} {words}", over.key));
            }
        }
    }
    let built = builder.build().and_then(|config| config::Source::collect(&config));
    match built {
        Ok(values) => {
            let values: BTreeMap<String, Value> = values.into_iter().collect();
            problems.merges(&values);
            Some(Merged { text: as_text(&values), values, base })
        }
        Err(error) => apart(&error, problems),
    }
}

fn apart(error: &ConfigError, problems: &Problems) -> Option<Merged> {
    problems.note("", "", format!("the layers of the configuration do not fit together: {error}"));
    None
}

fn drop_ins(file: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(file.with_extension("d")) else { return Vec::new() };
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    paths.retain(|path| path.extension().is_some_and(|extension| extension == "toml"));
    paths.sort();
    paths
}

fn as_text(values: &BTreeMap<String, Value>) -> String {
    let mut flat = Vec::new();
    for (key, value) in values {
        flatten(key.clone(), value.clone(), &mut flat);
    }
    flat.into_iter().map(|(key, value)| format!("{key} = {}\n", value.into_string().unwrap_or_default())).collect()
}

fn one_line(error: &config::ConfigError) -> String {
    let words = error.to_string();
    words.lines().map(str::trim).filter(|line| !line.is_empty()).collect::<Vec<_>>().join(" ")
}
