//! Interlock state, reset and stop.

use std::sync::Arc;
use std::time::Duration;

use hearthward_proto::v1;
use hearthward_proto::v1::interlock_service_server::InterlockService;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::request::Request as Wish;
use tonic::{Request, Response, Status};

use super::furnace_or_all;
use crate::commands::{Commands, Envelope};
use crate::convert::interlocks::{self, Clocks};
use crate::door::ShopDoor;
use crate::error::ApiError;

/// The interlocks' service.
pub(crate) struct Interlocks {
    pub(crate) shop: Arc<dyn ShopDoor>,
    pub(crate) commands: Commands,
}

#[tonic::async_trait]
impl InterlockService for Interlocks {
    async fn get_interlocks(
        &self,
        request: Request<v1::GetInterlocksRequest>,
    ) -> Result<Response<v1::GetInterlocksResponse>, Status> {
        let (plan, wall_ms) = (self.shop.plan(), self.shop.wall_ms());
        let wanted = furnace_or_all(&plan, &request.into_inner().furnace)?;
        let view = self.shop.view().borrow().clone();
        let chosen = view.furnaces.iter().enumerate().filter(|(place, _)| wanted.is_none_or(|id| id.index() == *place));
        let clocks = |place: usize| Clocks::of(plan.furnaces.get(place), view.at, wall_ms);
        let furnaces = chosen.map(|(place, furnace)| interlocks::furnace(furnace, clocks(place))).collect();
        Ok(Response::new(v1::GetInterlocksResponse { furnaces }))
    }

    async fn reset_interlock(
        &self,
        request: Request<v1::ResetInterlockRequest>,
    ) -> Result<Response<v1::ResetInterlockResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("ResetInterlock", &request, &request.request_id, &request.person)?;
        let furnace = furnace_or_all(&self.shop.plan(), &request.furnace)?;
        let interlock = v1::InterlockKind::try_from(request.interlock)
            .map_err(|_| ApiError::field("interlock", "must be one of the interlocks"))?;
        let wish = Wish::Reset { furnace, interlock: interlocks::kind_from(interlock) };
        let text = self.commands.run(envelope, wish).await?;
        Ok(Response::new(v1::ResetInterlockResponse { text }))
    }

    async fn bypass_interlock(
        &self,
        request: Request<v1::BypassInterlockRequest>,
    ) -> Result<Response<v1::BypassInterlockResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("BypassInterlock", &request, &request.request_id, &request.person)?;
        let furnace = super::furnace(&self.shop.plan(), &request.furnace)?;
        let interlock = needed(request.interlock)?;
        let span = (request.for_ms > 0).then(|| Duration::from_millis(request.for_ms));
        let wish = Wish::Bypass { furnace, interlock, reason: request.reason, span };
        let text = self.commands.run(envelope, wish).await?;
        Ok(Response::new(v1::BypassInterlockResponse { text }))
    }

    async fn prove_interlock(
        &self,
        request: Request<v1::ProveInterlockRequest>,
    ) -> Result<Response<v1::ProveInterlockResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("ProveInterlock", &request, &request.request_id, &request.person)?;
        let furnace = super::furnace(&self.shop.plan(), &request.furnace)?;
        let (interlock, wall_ms) = (needed(request.interlock)?, self.shop.wall_ms());
        let wish = match (request.seen, request.call_off) {
            (Some(_), true) => return Err(ApiError::field("call_off", "must not be given together with `seen`").into()),
            (Some(v1::ProofSeen { passed, how }), false) => Wish::Attest { furnace, interlock, passed, how, wall_ms },
            (None, true) => Wish::CallOff { furnace, interlock },
            (None, false) => Wish::Prove { furnace, interlock, wall_ms },
        };
        let text = self.commands.run(envelope, wish).await?;
        Ok(Response::new(v1::ProveInterlockResponse { text }))
    }

    async fn restore_interlock(
        &self,
        request: Request<v1::RestoreInterlockRequest>,
    ) -> Result<Response<v1::RestoreInterlockResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("RestoreInterlock", &request, &request.request_id, &request.person)?;
        let furnace = super::furnace(&self.shop.plan(), &request.furnace)?;
        let wish = Wish::Restore { furnace, interlock: needed(request.interlock)? };
        let text = self.commands.run(envelope, wish).await?;
        Ok(Response::new(v1::RestoreInterlockResponse { text }))
    }

    async fn stop(&self, request: Request<v1::StopRequest>) -> Result<Response<v1::StopResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("Stop", &request, &request.request_id, &request.person)?;
        let furnace = furnace_or_all(&self.shop.plan(), &request.furnace)?;
        let text = self.commands.run(envelope, Wish::Stop { furnace }).await?;
        Ok(Response::new(v1::StopResponse { text }))
    }
}

/// An interlock that has to be named.
fn needed(interlock: i32) -> Result<InterlockKind, ApiError> {
    let named = v1::InterlockKind::try_from(interlock).ok().and_then(interlocks::kind_from);
    named.ok_or_else(|| ApiError::field("interlock", "must be one of the interlocks"))
}
