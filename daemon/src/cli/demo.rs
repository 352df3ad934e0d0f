//! The demo, told as it happens.

use std::path::PathBuf;
use std::time::Instant;

use clap::Args;
use serde_json::json;

use super::call::json as proto_json;
use super::check::{CAUTIONS, refused};
use super::serve::logging;
use super::{key_value, print, words};
use crate::demo::{DemoEnded, Options, run};
use crate::exit::{Ended, Exit};

#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Where the demo's journal goes. The journal of an earlier demo there is replaced.
    #[arg(long, default_value = "hearthward-demo")]
    folder: PathBuf,
    /// Another configuration than the example's. Refused unless all of its equipment is simulated: nothing real is heated faster than
    /// time runs.
    #[arg(long)]
    config: Option<PathBuf>,
    /// Print for programs: one JSON object a line.
    #[arg(long)]
    json: bool,
    /// Folder of driver files.
    #[arg(long)]
    drivers: Option<PathBuf>,
    /// Any key of the configuration, over what the file says; the journal stays the demo's own.
    #[arg(long, value_name = "KEY=VALUE", value_parser = key_value)]
    set: Vec<(String, String)>,
}

impl Demo {
    pub(super) fn run(self) -> Result<(), Ended> {
        logging("warn");
        let began = Instant::now();
        let Self { folder, config, json, drivers, mut set } = self;
        let journal = folder.join("journal.sqlite");
        set.extend(drivers.map(|path| ("host.drivers".to_owned(), absolute(path))));
        let mut first = true;
        let say = |event: &hearthward_journal::Recorded| {
            if std::mem::take(&mut first) && !json {
                print::line(format_args!("{CAUTIONS}\n\nEvents: number, shop time, what happened.\n"))?;
            }
            let event = hearthward_api::event(event);
            print::line(if json { proto_json("Event", &event) } else { words::event(&event, words::Clock::Shop) })
        };
        let summary = run(Options { folder, set, config }, say).map_err(|ended| match ended {
            DemoEnded::Configuration(problems) => refused(&problems, json),
            DemoEnded::Early(ended) => ended,
        })?;
        print::line(if json {
            json!({ "summary": summary, "good": summary.is_good(), "journal": journal }).to_string()
        } else {
            let text = summary.text(began.elapsed());
            let (program, journal) = (quoted(&this_program()), quoted(&absolute(journal)));
            format!("\n{text}\nRead it again: {program} watch --from 1 --shop-time --journal {journal}")
        })?;
        if summary.is_good() {
            Ok(())
        } else {
            Err(Ended::new(Exit::Refused, "the demo did not go as it should; its journal shows where"))
        }
    }
}

fn absolute(path: PathBuf) -> String {
    std::path::absolute(&path).unwrap_or(path).display().to_string()
}

/// This program as a person can call it again from any folder: by its bare name if it was found that way, else by its whole path.
fn this_program() -> String {
    let called = PathBuf::from(std::env::args_os().next().unwrap_or_else(|| "hearthward".into()));
    if called.components().count() == 1 { called.display().to_string() } else { absolute(called) }
}

/// A word as a shell takes it.
fn quoted(word: &str) -> String {
    let plain = |letter: char| letter.is_alphanumeric() || "/._-+:@,".contains(letter);
    if !word.is_empty() && word.chars().all(plain) { word.to_owned() } else { format!("'{}'", word.replace('\'', r"'\''")) }
}

#[cfg(test)]
mod tests {
    use super::quoted;

    #[test]
    fn a_path_can_be_pasted_into_a_shell() {
        assert_eq!(quoted("/srv/shop/journal.sqlite"), "/srv/shop/journal.sqlite");
        assert_eq!(quoted("/srv/my shop/it's"), r"'/srv/my shop/it'\''s'");
        assert_eq!(quoted(""), "''");
    }
}
