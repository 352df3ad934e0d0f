//! The command line: what may be typed, and which room answers it.

mod alarm;
mod call;
mod check;
mod clock;
mod cycle;
mod demo;
mod interlock;
mod matrix;
mod plan;
mod print;
mod replay;
mod serve;
mod show;
mod status;
mod watch;
mod words;

use std::path::PathBuf;

use clap::{Args, CommandFactory, FromArgMatches, Parser, Subcommand};

use crate::exit::{Ended, Exit};
use crate::settings::{Listen, Sources};

/// Looks after the furnaces of a small heat-treating shop: purge before heat, heat off at an open door, each load from purge to temper.
///
/// This is supervision, not a safety-rated system. Hard-wired high limit, door switch, disconnect and ventilation stay the owner's
/// duty under local codes and licensed practice.
#[derive(Debug, Parser)]
#[command(name = "hearthward", version, max_term_width = 110)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

/// Below the help of every command.
const EXIT_CODES: &str = "Exit codes: 0 done, 1 refused, 2 command line not understood, 3 configuration has problems, \
4 service cannot be reached, 5 service could not start or had to end, 6 answer not on record yet.
With --json a failure is one JSON object on standard error: {\"error\": words, \"reason\": word, \"exit\": code}.";

#[derive(Debug, Subcommand)]
enum Command {
    /// Run the service.
    Serve(serve::Serve),
    /// Run the example shop on the simulated bench, in accelerated shop time, with one load from purge to temper.
    Demo(demo::Demo),
    /// Read a configuration, ask the drivers about it, and list every problem; nothing is started and no line is touched.
    Check(check::Check),
    /// Show the shop as it is now.
    Status(status::Status),
    /// Print events as they happen, from any number on.
    Watch(watch::Watch),
    /// Start a load's cycle, hold it, go on, skip a step, end it.
    #[command(subcommand)]
    Cycle(cycle::Cycle),
    /// Answer what the service asks.
    #[command(subcommand)]
    Question(cycle::Question),
    /// Enter a value read on equipment that is kept by hand.
    Enter(cycle::Enter),
    /// Show interlocks, reset a latch, stop.
    #[command(subcommand)]
    Interlock(interlock::Interlock),
    /// Show alarms, acknowledge them, put one aside, silence the horn.
    #[command(subcommand)]
    Alarm(alarm::Alarm),
    /// Show the drivers that are loaded.
    Driver(show::Drivers),
    /// Work out a purge, a cylinder, a heat-up, a transfer, a bath, a temper or a whole load, with no service running.
    ///
    /// Quantities are written as people write them, always with a unit: "9.4 L", "580 in3", "3 ft3/h", "1475 F", "3/16 in". A
    /// number shown is an estimate with its basis beside it; what was not said is taken as usual, and the answer says so.
    #[command(subcommand)]
    Plan(plan::Plan),
    /// Go through the decisions in a journal again, tick by tick, and show where they come out otherwise.
    Replay(replay::Replay),
}

/// Which configuration.
#[derive(Clone, Debug, Args)]
struct ConfigArgs {
    /// The configuration's file; `*.toml` in the folder of the same name ending in `.d` are read after it.
    #[arg(long, short, env = "HEARTHWARD_CONFIG", default_value = "/etc/hearthward/shop.toml")]
    config: PathBuf,
    #[command(flatten)]
    flags: FlagArgs,
}

/// Flags over the configuration.
#[derive(Clone, Debug, Args)]
struct FlagArgs {
    /// Folder of driver files; same as --set host.drivers=FOLDER.
    #[arg(long)]
    drivers: Option<PathBuf>,
    /// The journal's file; same as --set journal.file=FILE.
    #[arg(long)]
    journal: Option<PathBuf>,
    /// Where the API is offered: a loopback address and port, or unix:PATH, for the service's own user and root alone; same as --set
    /// api.listen=ADDRESS.
    #[arg(long)]
    listen: Option<String>,
    /// Any key of the configuration, over what the file says.
    #[arg(long, value_name = "KEY=VALUE", value_parser = key_value)]
    set: Vec<(String, String)>,
}

impl FlagArgs {
    fn into_set(self) -> Vec<(String, String)> {
        // Paths of flags start from where the command runs, those of the file from the file's folder.
        let absolute = |path: PathBuf| std::path::absolute(&path).unwrap_or(path).display().to_string();
        let mut set = self.set;
        set.extend(self.drivers.map(|path| ("host.drivers".to_owned(), absolute(path))));
        set.extend(self.journal.map(|path| ("journal.file".to_owned(), absolute(path))));
        set.extend(self.listen.map(|address| ("api.listen".to_owned(), address)));
        set
    }
}

impl ConfigArgs {
    fn sources(self) -> Sources {
        Sources { file: Some(self.config), text: None, set: self.flags.into_set(), environment: true }
    }
}

fn key_value(text: &str) -> Result<(String, String), String> {
    let (key, value) = text.split_once('=').ok_or("write it like furnace.north.limit=\"1050 C\"")?;
    Ok((key.trim().to_owned(), value.trim().trim_matches('"').to_owned()))
}

/// Which service, and how to print.
#[derive(Clone, Debug, Args)]
struct CallArgs {
    /// Where the service is: a loopback address and port, or unix:PATH, for the service's own user and root alone.
    #[arg(long, env = "HEARTHWARD_AT", default_value = Listen::USUAL)]
    at: Listen,
    /// Print for programs: one JSON object a line.
    #[arg(long)]
    json: bool,
}

/// Who asks.
#[derive(Clone, Debug, Args)]
struct PersonArgs {
    /// Who you are, for the record.
    #[arg(long, env = "HEARTHWARD_PERSON")]
    person: Option<String>,
}

impl PersonArgs {
    /// Who asks, for what takes heat away or only looks: it must not wait for a name.
    fn name(self) -> String {
        self.known().unwrap_or_else(|| "someone".to_owned())
    }

    /// Who answers for it, for what lets heat come, takes protection away or stands as evidence.
    fn responsible(self) -> Result<String, Ended> {
        let unknown = || Ended::new(Exit::Usage, "say who you are: --person NAME or HEARTHWARD_PERSON; it stands on the record");
        self.known().ok_or_else(unknown)
    }

    fn known(self) -> Option<String> {
        let said = |name: &String| !name.trim().is_empty();
        self.person.filter(said).or_else(|| std::env::var("USER").ok().filter(said))
    }
}

/// Does what was typed, says why it could not, and returns the exit code.
#[must_use]
pub fn run() -> Exit {
    // Looked for before the command line is understood: what is not understood is told in JSON too.
    let as_json = std::env::args_os().skip(1).any(|word| word == "--json");
    match understood().and_then(Cli::run) {
        Ok(()) => Exit::Done,
        Err(ended) => {
            print::last_words(&ended, as_json);
            ended.exit
        }
    }
}

/// The command line, with the exit codes under the help of every command.
fn understood() -> Result<Cli, Ended> {
    let command = with_exit_codes(Cli::command());
    let read = command.try_get_matches().and_then(|matches| Cli::from_arg_matches(&matches));
    read.map_err(|error| match error.exit_code() {
        0 => print::line(error.render().to_string().trim_end()).err().unwrap_or_else(Ended::quietly),
        _ => Ended::new(Exit::Usage, from_the_environment(error.render().to_string().trim_end())),
    })
}

/// An address that nobody typed is told as what it is: the reader of the command line names its flag for it.
fn from_the_environment(words: &str) -> String {
    let typed = std::env::args().any(|word| word == "--at" || word.starts_with("--at="));
    if typed { words.to_owned() } else { words.replace("'--at <AT>'", "HEARTHWARD_AT") }
}

fn with_exit_codes(command: clap::Command) -> clap::Command {
    // An example that a command shows itself stays above them.
    let own = command.get_after_help().map(|own| format!("{own}\n\n")).unwrap_or_default();
    command.after_help(own + EXIT_CODES).mut_subcommands(with_exit_codes)
}

impl Cli {
    fn run(self) -> Result<(), Ended> {
        match self.command {
            Command::Serve(serve) => serve.run(),
            Command::Demo(demo) => demo.run(),
            Command::Check(check) => check.run(),
            Command::Status(status) => status.run(),
            Command::Watch(watch) => watch.run(),
            Command::Cycle(cycle) => cycle.run(),
            Command::Question(question) => question.run(),
            Command::Enter(enter) => enter.run(),
            Command::Interlock(interlock) => interlock.run(),
            Command::Alarm(alarm) => alarm.run(),
            Command::Driver(drivers) => drivers.run(),
            Command::Plan(plan) => plan.run(),
            Command::Replay(replay) => replay.run(),
        }
    }
}
