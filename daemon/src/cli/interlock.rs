//! Interlocks: how they stand, reset and stop.

use clap::{Args, Subcommand};
use hearthward_proto::v1;
use hearthward_proto::v1::interlock_service_client::InterlockServiceClient;

use super::call::{block_on, connect, json, refused, request_id};
use super::{CallArgs, PersonArgs, print, words};
use crate::exit::Ended;

#[derive(Debug, Subcommand)]
pub(super) enum Interlock {
    /// Show how every interlock stands, what withholds heat and what would clear it.
    List(List),
    /// Clear latches whose cause is gone. A reset never starts heat by itself.
    Reset(Reset),
    /// Cut everything that heats, latched. Gas stays as it is.
    Stop(Stop),
}

#[derive(Debug, Args)]
pub(super) struct List {
    /// One furnace; every furnace unless given.
    furnace: Option<String>,
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
                Self::Reset(Reset { furnace, interlock, person, call }) => {
                    let request = v1::ResetInterlockRequest {
                        request_id: request_id(),
                        person: person.name(),
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
        let request = v1::GetInterlocksRequest { furnace: self.furnace.unwrap_or_default() };
        let mut client = InterlockServiceClient::new(connect(&self.call.at).await?);
        let response = client.get_interlocks(request).await.map_err(refused)?.into_inner();
        if self.call.json {
            return print::line(json("GetInterlocksResponse", &response));
        }
        for furnace in &response.furnaces {
            let heat = furnace.ceiling_c.map_or_else(
                // Where nothing acts, nothing is withheld: a person has to do it.
                || {
                    if furnace.interlocks.iter().any(|lock| lock.acts) {
                        "heat withheld"
                    } else {
                        "nothing here can take its heat away"
                    }
                    .to_owned()
                },
                |ceiling| format!("heat permitted up to {ceiling:.0} °C"),
            );
            print::line(format!(
                "{}: {heat}\n  if this computer dies, heat is cut by: {}",
                furnace.furnace, furnace.if_computer_dies
            ))?;
            for interlock in &furnace.interlocks {
                print::line(line(interlock))?;
            }
        }
        Ok(())
    }
}

fn line(interlock: &v1::Interlock) -> String {
    let state = words::word(interlock.state().as_str_name(), "INTERLOCK_STATE");
    let acts = if interlock.acts { "" } else { "  [warns only]" };
    let first = if interlock.first_cause { "  [first cause]" } else { "" };
    let text = if interlock.text.is_empty() { String::new() } else { format!("\n      {}", interlock.text) };
    format!("  {:<24} {state:<8}{acts}{first}{text}", words::interlock(interlock.kind()))
}
