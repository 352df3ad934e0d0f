//! Snapshot and live readings.

use std::time::Duration;

use hearthward_proto::v1;
use hearthward_proto::v1::shop_service_server::ShopService;
use hearthward_supervise::plan::ShopPlan;
use tokio::sync::{mpsc, watch};
use tokio::time::{Instant, sleep_until};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};

use crate::convert::{shop, timestamp};
use crate::error::ApiError;
use crate::serve::{Api, told};

/// The interval when the client does not say.
const INTERVAL_MS: u32 = 1000;

/// The intervals that are taken: a scan at the shortest, and a sign of life a minute.
const INTERVALS_MS: std::ops::RangeInclusive<u32> = 50..=60_000;

/// The shop's service.
pub(crate) struct Shops {
    pub(crate) api: Api,
    pub(crate) ending: watch::Receiver<bool>,
}

#[tonic::async_trait]
impl ShopService for Shops {
    async fn get_shop(&self, _: Request<v1::GetShopRequest>) -> Result<Response<v1::GetShopResponse>, Status> {
        let door = &self.api.shop;
        let plan = door.plan();
        // Read before the view: events up to this number may be missing in the snapshot's picture, never the other way round.
        let last_seq = self.api.reader.last_seq();
        let view = door.view().borrow().clone();
        let frame = shop::Frame {
            plan: &plan,
            version: &self.api.version,
            journal_id: self.api.reader.journal_id(),
            last_seq,
            wall_ms: door.wall_ms(),
        };
        Ok(Response::new(v1::GetShopResponse { shop: Some(shop::shop(&view, &frame)) }))
    }

    type StreamReadingsStream = ReceiverStream<Result<v1::StreamReadingsResponse, Status>>;

    async fn stream_readings(
        &self,
        request: Request<v1::StreamReadingsRequest>,
    ) -> Result<Response<Self::StreamReadingsStream>, Status> {
        let request = request.into_inner();
        let interval_ms = if request.interval_ms == 0 { INTERVAL_MS } else { request.interval_ms };
        if !INTERVALS_MS.contains(&interval_ms) {
            let range = format!("must be {} to {}, or 0", INTERVALS_MS.start(), INTERVALS_MS.end());
            return Err(ApiError::field("interval_ms", range).into());
        }
        let wanted = wanted(&self.api.shop.plan(), &request.points)?;
        // One message of room: a client that is slow holds one old message, and gets the latest next.
        let (say, messages) = mpsc::channel(1);
        let readings = Readings { api: self.api.clone(), wanted, interval: Duration::from_millis(interval_ms.into()), say };
        let ending = self.ending.clone();
        tokio::spawn(async move {
            let say = readings.say.clone();
            tokio::select! {
                () = readings.run() => {}
                () = told(ending) => {}
            }
            // A client that does not listen sees the connection end instead.
            let _ = say.try_send(Err(ApiError::Ending.into()));
        });
        Ok(Response::new(ReceiverStream::new(messages)))
    }
}

/// Which points a client wants, by place; nothing when all of them.
fn wanted(plan: &ShopPlan, points: &[String]) -> Result<Option<Vec<bool>>, ApiError> {
    if points.is_empty() {
        return Ok(None);
    }
    let mut wanted = vec![false; plan.directory.points().len()];
    for point in points {
        let id = point.parse().ok().and_then(|address| plan.directory.find_point(&address));
        let id = id.ok_or_else(|| ApiError::unknown("point", point.as_str(), plan.directory.points()))?;
        wanted[id.index()] = true;
    }
    Ok(Some(wanted))
}

/// One client's stream of readings.
struct Readings {
    api: Api,
    wanted: Option<Vec<bool>>,
    interval: Duration,
    say: mpsc::Sender<Result<v1::StreamReadingsResponse, Status>>,
}

impl Readings {
    /// Until the client or the shop is gone.
    async fn run(self) {
        let mut views = self.api.shop.view();
        loop {
            let next = Instant::now() + self.interval;
            // Room first, then the look: what is sent is the latest, however long the client took.
            let Ok(room) = self.say.reserve().await else { return };
            let view = views.borrow_and_update().clone();
            let plan = self.api.shop.plan();
            let is_wanted = |place: usize| self.wanted.as_ref().is_none_or(|wanted| wanted.get(place) == Some(&true));
            room.send(Ok(v1::StreamReadingsResponse {
                time: Some(timestamp(self.api.shop.wall_ms())),
                shop_ms: view.at.0,
                tick: view.tick.0,
                readings: shop::readings(&view, &plan, is_wanted),
            }));
            tokio::select! {
                () = sleep_until(next) => {}
                () = self.say.closed() => return,
            }
            if views.changed().await.is_err() {
                return;
            }
        }
    }
}
