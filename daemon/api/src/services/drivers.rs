//! Which drivers are loaded and how they fare.

use std::sync::Arc;

use hearthward_proto::v1;
use hearthward_proto::v1::driver_service_server::DriverService;
use tonic::{Request, Response, Status};

use crate::convert::drivers;
use crate::door::ShopDoor;
use crate::page;

/// The drivers' service.
pub(crate) struct Drivers {
    pub(crate) shop: Arc<dyn ShopDoor>,
}

#[tonic::async_trait]
impl DriverService for Drivers {
    async fn list_drivers(&self, request: Request<v1::ListDriversRequest>) -> Result<Response<v1::ListDriversResponse>, Status> {
        let request = request.into_inner();
        let (page, next_page_token) = page::cut(self.shop.drivers(), "drivers", request.page_size, &request.page_token)?;
        let drivers = page.into_iter().map(drivers::driver).collect();
        Ok(Response::new(v1::ListDriversResponse { drivers, next_page_token }))
    }
}
