//! Alarms as they stand, and what people do about them.

use std::sync::Arc;

use hearthward_proto::v1;
use hearthward_proto::v1::alarm_service_server::AlarmService;
use hearthward_supervise::alarm::{AlarmAsk, AlarmKey, alarm_names};
use hearthward_supervise::request::Request as Wish;
use tonic::{Request, Response, Status};

use crate::commands::{Commands, Envelope};
use crate::convert::alarms;
use crate::door::ShopDoor;
use crate::error::ApiError;

/// The alarms' service.
pub(crate) struct AlarmServer {
    pub(crate) shop: Arc<dyn ShopDoor>,
    pub(crate) commands: Commands,
}

impl AlarmServer {
    fn key(&self, name: &str) -> Result<AlarmKey, ApiError> {
        if name.is_empty() {
            return Err(ApiError::field("alarm", "must name an alarm"));
        }
        let plan = self.shop.plan();
        AlarmKey::find(&plan, name).ok_or_else(|| ApiError::unknown("alarm", name, alarm_names(&plan).map(|(_, known)| known)))
    }
}

#[tonic::async_trait]
impl AlarmService for AlarmServer {
    async fn get_alarms(&self, request: Request<v1::GetAlarmsRequest>) -> Result<Response<v1::GetAlarmsResponse>, Status> {
        let view = self.shop.view().borrow().clone();
        let alarms =
            if request.into_inner().all { alarms::all(&view.alarms, &self.shop.plan()) } else { alarms::alarms(&view.alarms) };
        Ok(Response::new(v1::GetAlarmsResponse { alarms: Some(alarms) }))
    }

    async fn acknowledge_alarm(
        &self,
        request: Request<v1::AcknowledgeAlarmRequest>,
    ) -> Result<Response<v1::AcknowledgeAlarmResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("AcknowledgeAlarm", &request, &request.request_id, &request.person)?;
        let alarm = if request.alarm.is_empty() { None } else { Some(self.key(&request.alarm)?) };
        let text = self.commands.run(envelope, Wish::Alarm(AlarmAsk::Acknowledge { alarm })).await?;
        Ok(Response::new(v1::AcknowledgeAlarmResponse { text }))
    }

    async fn shelve_alarm(&self, request: Request<v1::ShelveAlarmRequest>) -> Result<Response<v1::ShelveAlarmResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("ShelveAlarm", &request, &request.request_id, &request.person)?;
        let (alarm, reason) = (self.key(&request.alarm)?, reason(&request.reason)?);
        let ask = AlarmAsk::Shelve { alarm, reason, span_ms: request.span_ms };
        let text = self.commands.run(envelope, Wish::Alarm(ask)).await?;
        Ok(Response::new(v1::ShelveAlarmResponse { text }))
    }

    async fn unshelve_alarm(
        &self,
        request: Request<v1::UnshelveAlarmRequest>,
    ) -> Result<Response<v1::UnshelveAlarmResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("UnshelveAlarm", &request, &request.request_id, &request.person)?;
        let ask = AlarmAsk::Unshelve { alarm: self.key(&request.alarm)? };
        let text = self.commands.run(envelope, Wish::Alarm(ask)).await?;
        Ok(Response::new(v1::UnshelveAlarmResponse { text }))
    }

    async fn take_alarm_out_of_service(
        &self,
        request: Request<v1::TakeAlarmOutOfServiceRequest>,
    ) -> Result<Response<v1::TakeAlarmOutOfServiceResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("TakeAlarmOutOfService", &request, &request.request_id, &request.person)?;
        let ask = AlarmAsk::TakeOut { alarm: self.key(&request.alarm)?, reason: reason(&request.reason)? };
        let text = self.commands.run(envelope, Wish::Alarm(ask)).await?;
        Ok(Response::new(v1::TakeAlarmOutOfServiceResponse { text }))
    }

    async fn return_alarm_to_service(
        &self,
        request: Request<v1::ReturnAlarmToServiceRequest>,
    ) -> Result<Response<v1::ReturnAlarmToServiceResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("ReturnAlarmToService", &request, &request.request_id, &request.person)?;
        let ask = AlarmAsk::PutBack { alarm: self.key(&request.alarm)? };
        let text = self.commands.run(envelope, Wish::Alarm(ask)).await?;
        Ok(Response::new(v1::ReturnAlarmToServiceResponse { text }))
    }

    async fn silence_horn(&self, request: Request<v1::SilenceHornRequest>) -> Result<Response<v1::SilenceHornResponse>, Status> {
        let request = request.into_inner();
        let envelope = Envelope::new("SilenceHorn", &request, &request.request_id, &request.person)?;
        let text = self.commands.run(envelope, Wish::Alarm(AlarmAsk::Silence)).await?;
        Ok(Response::new(v1::SilenceHornResponse { text }))
    }
}

/// The longest reason that is taken: it goes into the record as it is.
const REASON_CHARS: usize = 500;

fn reason(text: &str) -> Result<String, ApiError> {
    let text = text.trim();
    if text.is_empty() || text.chars().count() > REASON_CHARS || text.chars().any(char::is_control) {
        return Err(ApiError::field("reason", format!("must say why, in 1 to {REASON_CHARS} printable characters")));
    }
    Ok(text.to_owned())
}
