//! Starting cycles, walking them on, and answering what they ask.

use std::sync::Arc;

use hearthward_equipment::{FurnaceId, PointId};
use hearthward_proto::v1;
use hearthward_proto::v1::cycle_service_server::CycleService;
use hearthward_supervise::request::{QuestionId, Request as Wish};
use tonic::{Request, Response, Status};

use super::{furnace, furnace_or_all};
use crate::commands::{Commands, Envelope};
use crate::convert::{cycles, values};
use crate::door::ShopDoor;
use crate::error::ApiError;
use crate::page;

/// The longest reason for skipping a step.
const REASON_CHARS: usize = 300;

/// The cycles' service.
pub(crate) struct Cycles {
    pub(crate) shop: Arc<dyn ShopDoor>,
    pub(crate) commands: Commands,
}

impl Cycles {
    fn furnace(&self, name: &str) -> Result<FurnaceId, ApiError> {
        furnace(&self.shop.plan(), name)
    }

    fn point(&self, address: &str) -> Result<PointId, ApiError> {
        let plan = self.shop.plan();
        let found = address.parse().ok().and_then(|address| plan.directory.find_point(&address));
        found.ok_or_else(|| ApiError::unknown("point", address, plan.directory.points()))
    }
}

fn question(id: u64) -> Result<QuestionId, ApiError> {
    if id == 0 { Err(ApiError::field("question_id", "must name a question")) } else { Ok(QuestionId(id)) }
}

fn reason(text: &str) -> Result<String, ApiError> {
    let text = text.trim();
    if text.is_empty() || text.chars().count() > REASON_CHARS || text.chars().any(char::is_control) {
        return Err(ApiError::field("reason", format!("must be 1 to {REASON_CHARS} printable characters")));
    }
    Ok(text.into())
}

#[tonic::async_trait]
impl CycleService for Cycles {
    async fn start_cycle(&self, request: Request<v1::StartCycleRequest>) -> Result<Response<v1::StartCycleResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("StartCycle", &request, &request.request_id, &request.person)?;
        let furnace = self.furnace(&request.furnace)?;
        let load = cycles::load(&request, &self.shop.recipes(), &self.shop.plan())?;
        let ready_in = request.ready_in_ms.map(std::time::Duration::from_millis);
        let text = self.commands.run(envelope, Wish::Start { furnace, load, ready_in }).await?;
        Ok(Response::new(v1::StartCycleResponse { text }))
    }

    async fn confirm_question(
        &self,
        request: Request<v1::ConfirmQuestionRequest>,
    ) -> Result<Response<v1::ConfirmQuestionResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("ConfirmQuestion", &request, &request.request_id, &request.person)?;
        let question = question(request.question_id)?;
        let reading = request.reading.map(|value| values::value_from(value, "reading")).transpose()?;
        let text = self.commands.run(envelope, Wish::Confirm { question, reading }).await?;
        Ok(Response::new(v1::ConfirmQuestionResponse { text }))
    }

    async fn choose_answer(
        &self,
        request: Request<v1::ChooseAnswerRequest>,
    ) -> Result<Response<v1::ChooseAnswerResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("ChooseAnswer", &request, &request.request_id, &request.person)?;
        let question = question(request.question_id)?;
        let choice = v1::Choice::try_from(request.choice).ok().and_then(cycles::choice_from);
        let choice = choice.ok_or_else(|| ApiError::field("choice", "must be one that the question offers"))?;
        let text = self.commands.run(envelope, Wish::Choose { question, choice }).await?;
        Ok(Response::new(v1::ChooseAnswerResponse { text }))
    }

    async fn hold_cycle(&self, request: Request<v1::HoldCycleRequest>) -> Result<Response<v1::HoldCycleResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("HoldCycle", &request, &request.request_id, &request.person)?;
        let furnace = self.furnace(&request.furnace)?;
        let text = self.commands.run(envelope, Wish::Hold { furnace }).await?;
        Ok(Response::new(v1::HoldCycleResponse { text }))
    }

    async fn resume_cycle(&self, request: Request<v1::ResumeCycleRequest>) -> Result<Response<v1::ResumeCycleResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("ResumeCycle", &request, &request.request_id, &request.person)?;
        let furnace = self.furnace(&request.furnace)?;
        let text = self.commands.run(envelope, Wish::Resume { furnace }).await?;
        Ok(Response::new(v1::ResumeCycleResponse { text }))
    }

    async fn skip_step(&self, request: Request<v1::SkipStepRequest>) -> Result<Response<v1::SkipStepResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("SkipStep", &request, &request.request_id, &request.person)?;
        let furnace = self.furnace(&request.furnace)?;
        let reason = reason(&request.reason)?;
        let text = self.commands.run(envelope, Wish::Skip { furnace, reason }).await?;
        Ok(Response::new(v1::SkipStepResponse { text }))
    }

    async fn abort_cycle(&self, request: Request<v1::AbortCycleRequest>) -> Result<Response<v1::AbortCycleResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("AbortCycle", &request, &request.request_id, &request.person)?;
        let furnace = self.furnace(&request.furnace)?;
        let text = self.commands.run(envelope, Wish::Abort { furnace }).await?;
        Ok(Response::new(v1::AbortCycleResponse { text }))
    }

    async fn enter_reading(
        &self,
        request: Request<v1::EnterReadingRequest>,
    ) -> Result<Response<v1::EnterReadingResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("EnterReading", &request, &request.request_id, &request.person)?;
        let point = self.point(&request.point)?;
        let value = request.value.ok_or_else(|| ApiError::field("value", "must be given"))?;
        let value = values::value_from(value, "value")?;
        let text = self.commands.run(envelope, Wish::Enter { point, value }).await?;
        Ok(Response::new(v1::EnterReadingResponse { text }))
    }

    async fn list_questions(
        &self,
        request: Request<v1::ListQuestionsRequest>,
    ) -> Result<Response<v1::ListQuestionsResponse>, Status> {
        let request = request.into_inner();
        furnace_or_all(&self.shop.plan(), &request.furnace)?;
        let view = self.shop.view().borrow().clone();
        let about = |name: &Option<_>| {
            request.furnace.is_empty()
                || name.as_ref().is_some_and(|name: &hearthward_equipment::Name| name.as_str() == request.furnace)
        };
        let mut waiting: Vec<_> = view.questions.iter().filter(|one| about(&one.furnace)).collect();
        waiting.sort_by_key(|one| (one.since, one.id));
        let list = format!("questions {}", request.furnace);
        let (page, next_page_token) = page::cut(waiting, &list, request.page_size, &request.page_token)?;
        let questions = page.into_iter().map(|one| cycles::question(one, view.at)).collect();
        Ok(Response::new(v1::ListQuestionsResponse { questions, next_page_token }))
    }

    async fn list_recipes(&self, request: Request<v1::ListRecipesRequest>) -> Result<Response<v1::ListRecipesResponse>, Status> {
        let request = request.into_inner();
        let plan = self.shop.plan();
        let (page, next_page_token) = page::cut(self.shop.recipes(), "recipes", request.page_size, &request.page_token)?;
        let recipes = page.iter().map(|recipe| cycles::recipe(recipe, &plan)).collect();
        Ok(Response::new(v1::ListRecipesResponse { recipes, next_page_token }))
    }
}
