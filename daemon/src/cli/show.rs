//! Drivers as they are, and values as people type them.

use clap::Args;
use hearthward_proto::v1;
use hearthward_proto::v1::driver_service_client::DriverServiceClient;

use super::call::{block_on, connect, json, refused};
use super::{CallArgs, print, words};
use crate::exit::{Ended, Exit};
use crate::settings::quantities;

#[derive(Debug, Args)]
pub(super) struct Drivers {
    #[command(flatten)]
    call: CallArgs,
}

impl Drivers {
    pub(super) fn run(self) -> Result<(), Ended> {
        block_on(async move {
            let mut client = DriverServiceClient::new(connect(&self.call.at).await?);
            let mut page_token = String::new();
            loop {
                let request = v1::ListDriversRequest { page_size: 0, page_token };
                let page = client.list_drivers(request).await.map_err(refused)?.into_inner();
                for driver in &page.drivers {
                    print::line(if self.call.json { json("Driver", driver) } else { line(driver) })?;
                }
                page_token = page.next_page_token;
                if page_token.is_empty() {
                    return Ok(());
                }
            }
        })
    }
}

fn line(driver: &v1::Driver) -> String {
    let state = words::word(driver.state().as_str_name(), "DRIVER_STATE");
    let mut line = format!("{}: {state}, {} (contract {})", driver.name, driver.file, driver.contract_version);
    line += &format!("\n  units: {}", driver.units.join(", "));
    line += &format!("\n  faces that its units may have: {}", driver.exports.join(", "));
    line += &format!("\n  sha256 {}", driver.sha256);
    if driver.restarts > 0 || !driver.last_fault.is_empty() {
        let ago = driver.last_fault_age_ms.map(|age_ms| format!(", {} ago", words::span(age_ms))).unwrap_or_default();
        line += &format!("\n  rebuilt {} times; last fault: {}{ago}", driver.restarts, driver.last_fault);
    }
    line
}

/// A value as a person types it: `52 C`, `8 L/min`, `140 bar`, `20.9 %`, `yes`.
pub(super) fn value_of(text: &str) -> Result<v1::Value, Ended> {
    use v1::value::Kind;
    let kind = match text {
        "yes" | "true" | "open" | "on" => Ok(Kind::Flag(true)),
        "no" | "false" | "shut" | "off" => Ok(Kind::Flag(false)),
        _ => quantities::reading(text),
    };
    kind.map(|kind| v1::Value { kind: Some(kind) }).map_err(|words| Ended::new(Exit::Usage, format!("{text:?} {words}")))
}
