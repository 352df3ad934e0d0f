//! Interlocks: how they stand, reset and stop.

use std::time::Duration;

use clap::{Args, Subcommand, ValueEnum};
use hearthward_proto::v1;
use hearthward_proto::v1::event_service_client::EventServiceClient;
use hearthward_proto::v1::interlock_service_client::InterlockServiceClient;

use super::call::{block_on, connect, json, refused, request_id};
use super::{CallArgs, PersonArgs, matrix, print, words};
use crate::exit::{Ended, Exit};

#[derive(Debug, Subcommand)]
pub(super) enum Interlock {
    /// Show how every interlock stands, what withholds heat and what would clear it.
    List(List),
    /// Print each furnace's cause-and-effect matrix: what each interlock does, how it stands, what would clear it.
    Matrix(Matrix),
    /// Take an interlock out of force for a time, where the configuration is open to it; it is on every record made meanwhile.
    #[command(after_help = BYPASS)]
    Bypass(Bypass),
    /// Test an interlock: says what to do, watches, and keeps the outcome and its date.
    Test(Test),
    /// Put a bypassed interlock into force again, at once.
    Restore(Restore),
    /// Clear latches whose cause is gone. A reset never starts heat by itself.
    Reset(Reset),
    /// Cut everything that heats, latched. Gas stays as it is.
    Stop(Stop),
}

const BYPASS: &str =
    "Example:\n  hearthward interlock bypass purge-flow --furnace north --for \"2 h\" --reason \"its meter is at its maker\"
`may_bypass` of the configuration says which a furnace is open to; what stands between heat and people never is.
`hearthward interlock restore` ends it at once.";

#[derive(Debug, Args)]
pub(super) struct List {
    /// One furnace; every furnace unless given.
    furnace: Option<String>,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Matrix {
    /// One furnace; every furnace unless given.
    furnace: Option<String>,
    /// For the shop's binder.
    #[arg(long, conflicts_with_all = ["csv", "json"])]
    markdown: bool,
    /// For a spreadsheet.
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Bypass {
    /// The interlock, such as run-time-limit.
    #[arg(value_parser = words::interlock_of)]
    interlock: v1::InterlockKind,
    /// The furnace.
    #[arg(long)]
    furnace: String,
    /// Why; it is on every record made meanwhile.
    #[arg(long)]
    reason: String,
    /// For how long at most, up to 24 h.
    #[arg(long = "for", value_name = "TIME", default_value = "8 h", value_parser = words::span_of, allow_hyphen_values = true)]
    lasts: Duration,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Test {
    /// The interlock, such as door-open.
    #[arg(value_parser = words::interlock_of)]
    interlock: v1::InterlockKind,
    /// The furnace.
    #[arg(long)]
    furnace: String,
    /// What you saw of a test that you made and the service did not watch.
    #[arg(long, requires = "how")]
    saw: Option<Saw>,
    /// How you tested it and what you saw; it goes on record.
    #[arg(long, requires = "saw")]
    how: Option<String>,
    /// End the test that runs, without an outcome: the last one stands.
    #[arg(long, conflicts_with_all = ["saw", "how"])]
    call_off: bool,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Saw {
    /// It tripped and cleared as it should.
    Passed,
    /// It did not.
    Failed,
}

#[derive(Debug, Args)]
pub(super) struct Restore {
    /// The interlock.
    #[arg(value_parser = words::interlock_of)]
    interlock: v1::InterlockKind,
    /// The furnace.
    #[arg(long)]
    furnace: String,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Reset {
    /// One furnace; every furnace unless given.
    #[arg(long)]
    furnace: Option<String>,
    /// One interlock, such as over-temperature; every one that can be reset unless given.
    #[arg(value_parser = words::interlock_of)]
    interlock: Option<v1::InterlockKind>,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Stop {
    /// One furnace; the whole shop unless given.
    furnace: Option<String>,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

impl Interlock {
    pub(super) fn run(self) -> Result<(), Ended> {
        block_on(async move {
            match self {
                Self::List(list) => list.run().await,
                Self::Matrix(matrix) => matrix.run().await,
                Self::Bypass(Bypass { interlock, furnace, reason, lasts, person, call }) => {
                    let request = v1::BypassInterlockRequest {
                        request_id: request_id(),
                        person: person.responsible()?,
                        furnace,
                        interlock: interlock.into(),
                        reason,
                        for_ms: u64::try_from(lasts.as_millis()).unwrap_or(u64::MAX),
                    };
                    let mut client = InterlockServiceClient::new(connect(&call.at).await?);
                    let response = client.bypass_interlock(request).await.map_err(refused)?.into_inner();
                    print::line(if call.json { json("BypassInterlockResponse", &response) } else { response.text })
                }
                Self::Test(test) => test.run().await,
                Self::Restore(Restore { interlock, furnace, person, call }) => {
                    let request = v1::RestoreInterlockRequest {
                        request_id: request_id(),
                        person: person.name(),
                        furnace,
                        interlock: interlock.into(),
                    };
                    let mut client = InterlockServiceClient::new(connect(&call.at).await?);
                    let response = client.restore_interlock(request).await.map_err(refused)?.into_inner();
                    print::line(if call.json { json("RestoreInterlockResponse", &response) } else { response.text })
                }
                Self::Reset(Reset { furnace, interlock, person, call }) => {
                    let request = v1::ResetInterlockRequest {
                        request_id: request_id(),
                        person: person.responsible()?,
                        furnace: furnace.unwrap_or_default(),
                        interlock: interlock.unwrap_or_default().into(),
                    };
                    let mut client = InterlockServiceClient::new(connect(&call.at).await?);
                    let response = client.reset_interlock(request).await.map_err(refused)?.into_inner();
                    print::line(if call.json { json("ResetInterlockResponse", &response) } else { response.text })
                }
                Self::Stop(Stop { furnace, person, call }) => {
                    let request =
                        v1::StopRequest { request_id: request_id(), person: person.name(), furnace: furnace.unwrap_or_default() };
                    let mut client = InterlockServiceClient::new(connect(&call.at).await?);
                    let response = client.stop(request).await.map_err(refused)?.into_inner();
                    print::line(if call.json { json("StopResponse", &response) } else { response.text })
                }
            }
        })
    }
}

impl List {
    async fn run(self) -> Result<(), Ended> {
        let response = interlocks(self.furnace, &self.call).await?;
        if self.call.json {
            return print::line(json("GetInterlocksResponse", &response));
        }
        for furnace in &response.furnaces {
            print::line(format!(
                "{}: {}\n  if this computer dies, heat is cut by: {}",
                furnace.furnace, furnace.heat, furnace.if_computer_dies
            ))?;
            for interlock in &furnace.interlocks {
                print::line(line(interlock))?;
            }
        }
        Ok(())
    }
}

impl Matrix {
    async fn run(self) -> Result<(), Ended> {
        let response = interlocks(self.furnace, &self.call).await?;
        let shown = match (self.call.json, self.markdown, self.csv) {
            (true, ..) => json("GetInterlocksResponse", &response),
            (_, true, _) => matrix::markdown(&response.furnaces),
            (.., true) => matrix::csv(&response.furnaces),
            _ => matrix::screen(&response.furnaces),
        };
        print::line(shown.trim_end())
    }
}

impl Test {
    /// Says what a person saw, or calls a test off; or begins one, then shows what the service says of the furnace until the test is over.
    /// The service watches on where this is left.
    async fn run(self) -> Result<(), Ended> {
        let person = self.person.responsible()?;
        let channel = connect(&self.call.at).await?;
        let narrowed = v1::EventFilter { furnaces: vec![self.furnace.clone()], ..v1::EventFilter::default() };
        let request = v1::StreamEventsRequest { filter: Some(narrowed), ..v1::StreamEventsRequest::default() };
        // Listens before it asks, so that nothing is missed.
        let mut events = EventServiceClient::new(channel.clone()).stream_events(request).await.map_err(refused)?.into_inner();
        let request = v1::ProveInterlockRequest {
            request_id: request_id(),
            person,
            furnace: self.furnace,
            interlock: self.interlock.into(),
            seen: self.saw.map(|saw| v1::ProofSeen { passed: saw == Saw::Passed, how: self.how.unwrap_or_default() }),
            call_off: self.call_off,
        };
        let told = request.seen.is_some() || request.call_off;
        let response = InterlockServiceClient::new(channel).prove_interlock(request).await.map_err(refused)?.into_inner();
        print::line(if self.call.json { json("ProveInterlockResponse", &response) } else { response.text })?;
        if told {
            return Ok(());
        }
        loop {
            let message = match events.message().await.map_err(refused) {
                Ok(Some(message)) => message,
                Err(ended) if ended.exit != Exit::Unreachable => return Err(ended),
                // A service that dies ends the stream in any of these ways.
                Ok(None) | Err(_) => break,
            };
            let Some(v1::stream_events_response::Item::Event(event)) = message.item else { continue };
            print::line(if self.call.json { json("Event", &event) } else { event.text.clone() })?;
            let own = i32::from(self.interlock);
            match event.body {
                Some(v1::event::Body::Proved(proved)) if proved.interlock == own && proved.passed => return Ok(()),
                Some(v1::event::Body::Proved(proved)) if proved.interlock == own => {
                    return Err(Ended::new(Exit::Refused, "the test did not pass"));
                }
                Some(v1::event::Body::ProofVoid(void)) if void.interlock == own => {
                    return Err(Ended::new(Exit::Refused, "the test counts for nothing"));
                }
                _ => {}
            }
        }
        let words = "the service went away before the test was over: it counts for nothing; take back what was done for it, and test \
                     again when the service runs";
        Err(Ended::new(Exit::Unreachable, words))
    }
}

async fn interlocks(furnace: Option<String>, call: &CallArgs) -> Result<v1::GetInterlocksResponse, Ended> {
    let request = v1::GetInterlocksRequest { furnace: furnace.unwrap_or_default() };
    let mut client = InterlockServiceClient::new(connect(&call.at).await?);
    Ok(client.get_interlocks(request).await.map_err(refused)?.into_inner())
}

fn line(interlock: &v1::Interlock) -> String {
    let state = words::word(interlock.state().as_str_name(), "INTERLOCK_STATE");
    let acts = if interlock.acts { "" } else { "  [warns only]" };
    let first = if interlock.first_cause { "  [first cause]" } else { "" };
    let bypassed = interlock.bypass.as_ref().map_or_else(String::new, |bypass| {
        format!("  [BYPASSED by {} for another {}: {}]", bypass.person, words::span(bypass.left_ms), bypass.reason)
    });
    let text = if interlock.text.is_empty() { String::new() } else { format!("\n      {}", interlock.text) };
    format!("  {:<24} {state:<8}{acts}{first}{bypassed}{text}", words::interlock(interlock.kind()))
}
