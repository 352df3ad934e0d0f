//! Events: the stream that resumes from any number, and pages of what is on record.
//!
//! The service is put together by hand, and not from the generated trait, for one reason: the stream sends bytes that were made
//! once for all subscribers, where the generated code would make them again for each.

use std::convert::Infallible;
use std::sync::Arc;

use hearthward_journal::{Reader, Recorded};
use hearthward_proto::v1;
use hearthward_proto::v1::event_service_server::SERVICE_NAME;
use prost::bytes::BufMut;
use tokio::sync::{Semaphore, watch};
use tonic::body::Body;
use tonic::codec::{Codec, EncodeBuf, Encoder};
use tonic::codegen::{BoxFuture, Context, Poll, Service, http};
use tonic::server::{Grpc, NamedService, ServerStreamingService, UnaryService};
use tonic::{Request, Response, Status};
use tonic_prost::{ProstCodec, ProstDecoder};

use crate::convert::events;
use crate::door::ShopDoor;
use crate::error::ApiError;
use crate::page;
use crate::stream::{EventStream, Filter, Item};

/// Looks at the file that all subscribers together take at one time: replaying to many must not take the disk from the record.
const LOOKS: usize = 4;

/// The largest request.
const REQUEST_BYTES: usize = 64 * 1024;

/// Events that one page looks through at most; a page may hold fewer than were asked for and still name the next.
const PAGE_LOOK: usize = 4096;

/// The events' service.
#[derive(Clone)]
pub(crate) struct EventServer {
    shop: Arc<dyn ShopDoor>,
    reader: Reader,
    looks: Arc<Semaphore>,
    ending: watch::Receiver<bool>,
}

impl EventServer {
    pub(crate) fn new(shop: Arc<dyn ShopDoor>, reader: Reader, ending: watch::Receiver<bool>) -> Self {
        Self { shop, reader, looks: Arc::new(Semaphore::new(LOOKS)), ending }
    }

    fn stream(&self, request: v1::StreamEventsRequest) -> Result<EventStream, ApiError> {
        let filter = Filter::new(request.filter)?;
        // A page looks back, also at furnaces that are gone; whoever waits for one that is not there would wait for ever.
        filter.names_furnaces_of(&self.shop.plan())?;
        let reader = self.reader.clone();
        if !request.journal_id.is_empty() && request.journal_id != reader.journal_id() {
            return Err(ApiError::OtherJournal { asked: request.journal_id, journal_id: reader.journal_id().into() });
        }
        let (oldest, last) = (reader.oldest_seq().max(1), reader.last_seq());
        let next = match request.begin {
            None => last + 1,
            Some(v1::stream_events_request::Begin::FromSeq(0)) => oldest,
            Some(v1::stream_events_request::Begin::FromSeq(seq)) => seq,
            Some(v1::stream_events_request::Begin::AfterSeq(seq)) => seq.saturating_add(1),
        };
        if next < oldest || next > last + 1 {
            let journal_id = reader.journal_id().into();
            return Err(ApiError::Cursor { too_old: next < oldest, asked: next, oldest, last, journal_id });
        }
        Ok(EventStream::new(reader, Arc::clone(&self.looks), filter, next, self.ending.clone()))
    }

    async fn list(&self, request: v1::ListEventsRequest) -> Result<v1::ListEventsResponse, ApiError> {
        let size = page::size(request.page_size)?;
        let list = format!("events {} {:?}", request.newest_first, request.filter);
        let position = page::position(&request.page_token, &list)?;
        let filter = Filter::new(request.filter)?;
        let reader = self.reader.clone();
        let journal_id = reader.journal_id().to_owned();
        let pager = Pager { reader, filter, size, newest_first: request.newest_first };
        let turn = self.looks.acquire().await;
        let (page, next) =
            tokio::task::spawn_blocking(move || pager.page(position)).await.map_err(|_| ApiError::Unreadable)??;
        drop(turn);
        Ok(v1::ListEventsResponse {
            events: page.iter().map(|event| events::event(event)).collect(),
            next_page_token: next.map(|position| page::token(position, &list)).unwrap_or_default(),
            journal_id,
        })
    }
}

/// One page of events.
struct Pager {
    reader: Reader,
    filter: Filter,
    size: usize,
    newest_first: bool,
}

impl Pager {
    /// The events of the page that begins at `position`, and where the next one begins.
    fn page(&self, position: Option<u64>) -> Result<(Vec<Arc<Recorded>>, Option<u64>), ApiError> {
        let (oldest, last) = (self.reader.oldest_seq().max(1), self.reader.last_seq());
        let start = position.unwrap_or(if self.newest_first { last } else { oldest });
        let look = if self.filter.passes_all() { self.size } else { PAGE_LOOK };
        let looked = if self.newest_first { self.reader.read_back(start, look) } else { self.reader.read(start, look) };
        let looked = looked.map_err(|error| ApiError::of_read(&error, start, &self.reader))?;
        let mut page = Vec::new();
        let mut seen = None;
        for event in looked {
            if page.len() == self.size {
                break;
            }
            seen = Some(event.seq);
            if self.filter.passes(&event) {
                page.push(event);
            }
        }
        let next = match seen {
            Some(seen) if self.newest_first && seen > oldest => Some(seen - 1),
            Some(seen) if !self.newest_first && seen < last => Some(seen + 1),
            _ => None,
        };
        Ok((page, next))
    }
}

impl NamedService for EventServer {
    const NAME: &'static str = SERVICE_NAME;
}

impl Service<http::Request<Body>> for EventServer {
    type Response = http::Response<Body>;
    type Error = Infallible;
    type Future = BoxFuture<Self::Response, Infallible>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: http::Request<Body>) -> Self::Future {
        let events = self.clone();
        let method = request.uri().path().rsplit('/').next().unwrap_or_default().to_owned();
        Box::pin(async move {
            Ok(match method.as_str() {
                "StreamEvents" => {
                    let grpc = Grpc::new(SharedCodec).apply_max_message_size_config(Some(REQUEST_BYTES), None);
                    { grpc }.server_streaming(Stream(events), request).await
                }
                "ListEvents" => {
                    let grpc = Grpc::new(ProstCodec::default()).apply_max_message_size_config(Some(REQUEST_BYTES), None);
                    { grpc }.unary(List(events), request).await
                }
                _ => Status::unimplemented(format!("{SERVICE_NAME} has no method {method:?}")).into_http(),
            })
        })
    }
}

/// The method `StreamEvents`.
struct Stream(EventServer);

impl ServerStreamingService<v1::StreamEventsRequest> for Stream {
    type Response = Item;
    type ResponseStream = EventStream;
    type Future = std::future::Ready<Result<Response<EventStream>, Status>>;

    fn call(&mut self, request: Request<v1::StreamEventsRequest>) -> Self::Future {
        std::future::ready(self.0.stream(request.into_inner()).map(Response::new).map_err(Status::from))
    }
}

/// The method `ListEvents`.
struct List(EventServer);

impl UnaryService<v1::ListEventsRequest> for List {
    type Response = v1::ListEventsResponse;
    type Future = BoxFuture<Response<Self::Response>, Status>;

    fn call(&mut self, request: Request<v1::ListEventsRequest>) -> Self::Future {
        let events = self.0.clone();
        Box::pin(async move { Ok(Response::new(events.list(request.into_inner()).await?)) })
    }
}

/// Reads requests as usual and sends events in the bytes that all subscribers share.
struct SharedCodec;

impl Codec for SharedCodec {
    type Encode = Item;
    type Decode = v1::StreamEventsRequest;
    type Encoder = SharedEncoder;
    type Decoder = ProstDecoder<v1::StreamEventsRequest>;

    fn encoder(&mut self) -> Self::Encoder {
        SharedEncoder
    }

    fn decoder(&mut self) -> Self::Decoder {
        ProstDecoder::default()
    }
}

struct SharedEncoder;

impl Encoder for SharedEncoder {
    type Item = Item;
    type Error = Status;

    fn encode(&mut self, item: Item, into: &mut EncodeBuf<'_>) -> Result<(), Status> {
        item.with_bytes(|bytes| into.put_slice(bytes));
        Ok(())
    }
}
