//! Cycles and the questions that they ask.

use clap::{Args, Subcommand};
use hearthward_proto::v1;
use hearthward_proto::v1::cycle_service_client::CycleServiceClient;
use tonic::transport::Channel;

use super::call::{block_on, connect, json, refused, request_id};
use super::{CallArgs, PersonArgs, clock, print, words};
use crate::exit::Ended;

#[derive(Debug, Subcommand)]
pub(super) enum Cycle {
    /// Begin a load's cycle by a recipe of the configuration.
    Start(Start),
    /// Keep the cycle where it is.
    Hold(Which),
    /// Go on after a hold or an interruption.
    Resume(Which),
    /// End the present step though it is not complete.
    Skip(Skip),
    /// End the cycle: heat off, gas as it is until the steel is cool.
    Abort(Which),
    /// Show the recipes of the configuration.
    Recipes(CallArgs),
}

#[derive(Debug, Args)]
pub(super) struct Start {
    /// The furnace.
    furnace: String,
    /// The recipe.
    recipe: String,
    /// What you call the load; its record has that name.
    #[arg(long)]
    load: String,
    /// How many parts are pulled one after another.
    #[arg(long, default_value_t = 1, value_parser = words::parts_of, allow_hyphen_values = true)]
    parts: u16,
    /// By when it shall be ready to be pulled, by this computer's clock, such as 07:00: it is put in now and begins by itself where
    /// gas is commanded and the room is monitored, or where it is only tempered. Elsewhere its bath is made ready by then, and you begin
    /// it when you are there.
    #[arg(long, value_parser = clock::of_day)]
    ready_by: Option<jiff::civil::Time>,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Which {
    /// The furnace.
    furnace: String,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Skip {
    #[command(flatten)]
    which: Which,
    /// Why, for the record.
    #[arg(long)]
    reason: String,
}

/// The service answers every command with one sentence.
fn said(call: &CallArgs, message: &str, text: &str, encoded: &impl prost::Message) -> Result<(), Ended> {
    if call.json { print::line(json(message, encoded)) } else { print::line(text) }
}

async fn client(call: &CallArgs) -> Result<CycleServiceClient<Channel>, Ended> {
    Ok(CycleServiceClient::new(connect(&call.at).await?))
}

macro_rules! command {
    ($call:expr, $method:ident, $request:expr, $response:literal) => {{
        let mut client = client(&$call).await?;
        let response = client.$method($request).await.map_err(refused)?.into_inner();
        said(&$call, $response, &response.text, &response)
    }};
}

impl Cycle {
    pub(super) fn run(self) -> Result<(), Ended> {
        block_on(async move {
            match self {
                Self::Start(start) => start.run().await,
                Self::Hold(Which { furnace, person, call }) => {
                    let request = v1::HoldCycleRequest { request_id: request_id(), person: person.name(), furnace };
                    command!(call, hold_cycle, request, "HoldCycleResponse")
                }
                Self::Resume(Which { furnace, person, call }) => {
                    let request = v1::ResumeCycleRequest { request_id: request_id(), person: person.responsible()?, furnace };
                    command!(call, resume_cycle, request, "ResumeCycleResponse")
                }
                Self::Skip(Skip { which: Which { furnace, person, call }, reason }) => {
                    let request =
                        v1::SkipStepRequest { request_id: request_id(), person: person.responsible()?, furnace, reason };
                    command!(call, skip_step, request, "SkipStepResponse")
                }
                Self::Abort(Which { furnace, person, call }) => {
                    let request = v1::AbortCycleRequest { request_id: request_id(), person: person.name(), furnace };
                    command!(call, abort_cycle, request, "AbortCycleResponse")
                }
                Self::Recipes(call) => recipes(&call).await,
            }
        })
    }
}

impl Start {
    async fn run(self) -> Result<(), Ended> {
        let now = jiff::ZonedDateTime::now();
        let ready_at = self.ready_by.and_then(|time| clock::next(time, &now));
        let request = v1::StartCycleRequest {
            request_id: request_id(),
            person: self.person.responsible()?,
            furnace: self.furnace,
            load: self.load,
            parts: u32::from(self.parts),
            cycle: Some(v1::start_cycle_request::Cycle::Recipe(self.recipe)),
            ready_in_ms: ready_at.as_ref().map(|at| clock::until_ms(at, &now)),
        };
        let mut client = client(&self.call).await?;
        let response = client.start_cycle(request).await.map_err(refused)?.into_inner();
        let when = ready_at.map(|at| format!(" It is to be ready {}.", clock::in_words(&at, &now))).unwrap_or_default();
        said(&self.call, "StartCycleResponse", &format!("{}{when}", response.text), &response)
    }
}

async fn recipes(call: &CallArgs) -> Result<(), Ended> {
    let mut client = client(call).await?;
    let mut page_token = String::new();
    loop {
        let request = v1::ListRecipesRequest { page_size: 0, page_token };
        let page = client.list_recipes(request).await.map_err(refused)?.into_inner();
        for recipe in &page.recipes {
            let plan = recipe.plan.as_ref();
            let steel = plan.map_or("", |plan| plan.steel.as_str());
            let steps = plan.map_or(0, |plan| plan.steps.len());
            said(call, "Recipe", &format!("{:<24} {steel:<12} {steps} steps  {}", recipe.name, recipe.text), recipe)?;
        }
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return Ok(());
        }
    }
}

#[derive(Debug, Subcommand)]
pub(super) enum Question {
    /// Show what the service asks now.
    List(CallArgs),
    /// Say that what was asked for is done.
    Confirm(Confirm),
    /// Choose between what a question offers.
    Choose(Choose),
}

#[derive(Debug, Args)]
pub(super) struct Confirm {
    /// The question's number.
    id: u64,
    /// What the meter shows, such as "8 L/min", where the question asks for a reading.
    #[arg(long)]
    reading: Option<String>,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

#[derive(Debug, Args)]
pub(super) struct Choose {
    /// The question's number.
    id: u64,
    /// quench-now, finish, slow-cool-under-gas, go-on, restart-step or end.
    #[arg(value_parser = words::choice_of)]
    choice: v1::Choice,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

impl Question {
    pub(super) fn run(self) -> Result<(), Ended> {
        block_on(async move {
            match self {
                Self::List(call) => questions(&call).await,
                Self::Confirm(Confirm { id, reading, person, call }) => {
                    let reading = reading.map(|text| super::show::value_of(&text)).transpose()?;
                    let request = v1::ConfirmQuestionRequest {
                        request_id: request_id(),
                        person: person.responsible()?,
                        question_id: id,
                        reading,
                    };
                    command!(call, confirm_question, request, "ConfirmQuestionResponse")
                }
                Self::Choose(Choose { id, choice, person, call }) => {
                    let request = v1::ChooseAnswerRequest {
                        request_id: request_id(),
                        person: person.responsible()?,
                        question_id: id,
                        choice: choice.into(),
                    };
                    command!(call, choose_answer, request, "ChooseAnswerResponse")
                }
            }
        })
    }
}

async fn questions(call: &CallArgs) -> Result<(), Ended> {
    let mut client = client(call).await?;
    let mut page_token = String::new();
    loop {
        let request = v1::ListQuestionsRequest { furnace: String::new(), page_size: 0, page_token };
        let page = client.list_questions(request).await.map_err(refused)?.into_inner();
        for question in &page.questions {
            said(call, "Question", &question_line(question), question)?;
        }
        if page.questions.is_empty() && !call.json {
            print::line("Nothing is asked.")?;
        }
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return Ok(());
        }
    }
}

/// A question, what may be answered, and what silence means.
pub(super) fn question_line(question: &v1::Question) -> String {
    let mut line = format!("{:>4} {}", question.id, question.text);
    if let Some(v1::ask::Ask::EnterReading(at)) = question.ask.as_ref().and_then(|ask| ask.ask.as_ref()) {
        return line + &format!("\n     answer: hearthward enter {} \"… C\"", at.point);
    }
    let choices: Vec<String> = question.choices().map(words::choice).collect();
    if choices.is_empty() {
        let reading = match question.ask.as_ref().and_then(|ask| ask.ask.as_ref()) {
            Some(v1::ask::Ask::SetFlow(wanted)) => format!(" --reading \"{} L/min\" (what the meter shows)", wanted.flow_l_min),
            Some(v1::ask::Ask::ReadFlow(_)) => " --reading \"… L/min\" (what the meter shows)".to_owned(),
            _ => String::new(),
        };
        line += &format!("\n     answer: hearthward question confirm {}{reading}", question.id);
    } else {
        line += &format!("\n     answer: hearthward question choose {} {}", question.id, choices.join(" | "));
    }
    if let Some(ms) = question.default_in_ms {
        line += &format!("\n     without an answer in {}: {}", words::span(ms), words::choice(question.default_choice()));
    }
    line
}

#[derive(Debug, Args)]
pub(super) struct Enter {
    /// The point, such as by-hand/oil-thermometer.temperature.
    point: String,
    /// What you read, with its unit, such as "52 C", "8 L/min", "140 bar", yes or no.
    value: String,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    call: CallArgs,
}

impl Enter {
    pub(super) fn run(self) -> Result<(), Ended> {
        block_on(async move {
            let value = Some(super::show::value_of(&self.value)?);
            let request = v1::EnterReadingRequest {
                request_id: request_id(),
                person: self.person.responsible()?,
                point: self.point,
                value,
            };
            command!(self.call, enter_reading, request, "EnterReadingResponse")
        })
    }
}
