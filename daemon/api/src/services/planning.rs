//! The arithmetic, asked. Nothing here looks at the shop.

use hearthward_process::plan::Answer;
use hearthward_proto::v1;
use hearthward_proto::v1::planning_service_server::PlanningService;
use tonic::{Request, Response, Status};

use crate::convert::planning::{self, Unplanned, message};
use crate::error::ApiError;

/// The planner's service.
pub(crate) struct Planner;

fn answered(answer: Result<Answer, Unplanned>) -> Result<Option<v1::PlanAnswer>, ApiError> {
    Ok(Some(message(&answer?)))
}

#[tonic::async_trait]
impl PlanningService for Planner {
    async fn plan_purge(&self, request: Request<v1::PlanPurgeRequest>) -> Result<Response<v1::PlanPurgeResponse>, Status> {
        let answer = answered(planning::purge(&request.into_inner()))?;
        Ok(Response::new(v1::PlanPurgeResponse { answer }))
    }

    async fn plan_cylinder(
        &self,
        request: Request<v1::PlanCylinderRequest>,
    ) -> Result<Response<v1::PlanCylinderResponse>, Status> {
        let answer = answered(planning::cylinder(&request.into_inner()))?;
        Ok(Response::new(v1::PlanCylinderResponse { answer }))
    }

    async fn plan_heat_up(&self, request: Request<v1::PlanHeatUpRequest>) -> Result<Response<v1::PlanHeatUpResponse>, Status> {
        let answer = answered(planning::heat_up(&request.into_inner()))?;
        Ok(Response::new(v1::PlanHeatUpResponse { answer }))
    }

    async fn plan_transfer(
        &self,
        request: Request<v1::PlanTransferRequest>,
    ) -> Result<Response<v1::PlanTransferResponse>, Status> {
        let answer = answered(planning::transfer(&request.into_inner()))?;
        Ok(Response::new(v1::PlanTransferResponse { answer }))
    }

    async fn plan_bath(&self, request: Request<v1::PlanBathRequest>) -> Result<Response<v1::PlanBathResponse>, Status> {
        let answer = answered(planning::bath(&request.into_inner()))?;
        Ok(Response::new(v1::PlanBathResponse { answer }))
    }

    async fn plan_temper(&self, request: Request<v1::PlanTemperRequest>) -> Result<Response<v1::PlanTemperResponse>, Status> {
        let answer = answered(planning::temper(&request.into_inner()))?;
        Ok(Response::new(v1::PlanTemperResponse { answer }))
    }

    async fn plan_interrupted(
        &self,
        request: Request<v1::PlanInterruptedRequest>,
    ) -> Result<Response<v1::PlanInterruptedResponse>, Status> {
        let answer = answered(planning::interrupted(&request.into_inner()))?;
        Ok(Response::new(v1::PlanInterruptedResponse { answer }))
    }

    async fn plan_furnace(&self, request: Request<v1::PlanFurnaceRequest>) -> Result<Response<v1::PlanFurnaceResponse>, Status> {
        let answer = answered(planning::furnace(&request.into_inner()))?;
        Ok(Response::new(v1::PlanFurnaceResponse { answer }))
    }

    async fn plan_leak(&self, request: Request<v1::PlanLeakRequest>) -> Result<Response<v1::PlanLeakResponse>, Status> {
        let answer = answered(planning::leak(&request.into_inner()))?;
        Ok(Response::new(v1::PlanLeakResponse { answer }))
    }

    async fn plan_meter_check(
        &self,
        request: Request<v1::PlanMeterCheckRequest>,
    ) -> Result<Response<v1::PlanMeterCheckResponse>, Status> {
        let answer = answered(planning::meter_check(&request.into_inner()))?;
        Ok(Response::new(v1::PlanMeterCheckResponse { answer }))
    }

    async fn plan_plates(&self, request: Request<v1::PlanPlatesRequest>) -> Result<Response<v1::PlanPlatesResponse>, Status> {
        let answer = answered(planning::plates(&request.into_inner()))?;
        Ok(Response::new(v1::PlanPlatesResponse { answer }))
    }

    async fn plan_cycle(&self, request: Request<v1::PlanCycleRequest>) -> Result<Response<v1::PlanCycleResponse>, Status> {
        let load = planning::cycle(&request.into_inner()).map_err(ApiError::from)?;
        let answers = load.answers.iter().map(message).collect();
        Ok(Response::new(v1::PlanCycleResponse { answers, recipe: load.recipe.unwrap_or_default() }))
    }
}
