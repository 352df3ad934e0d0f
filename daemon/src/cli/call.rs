//! One call to the service: the connection, the codes that a refusal becomes, and JSON as proto3 writes it.

use std::future::Future;
use std::sync::LazyLock;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use hyper_util::rt::TokioIo;
use prost::Message;
use prost_reflect::{DescriptorPool, DynamicMessage};
use tonic::transport::{Channel, Endpoint, Uri};
use tonic::{Code, Status};

use crate::exit::{Ended, Exit};
use crate::settings::Listen;

/// How long a person waits before the command says that nobody answers.
const PATIENCE: Duration = Duration::from_secs(10);

/// How long an answer may take to begin: longer than the service itself waits for a record that cannot be written.
const ANSWERED_WITHIN: Duration = Duration::from_secs(20);

/// Runs a client's work to its end on a runtime of its own.
pub(super) fn block_on<T>(work: impl Future<Output = Result<T, Ended>>) -> Result<T, Ended> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    runtime.map_err(|error| Ended::new(Exit::Failed, format!("no runtime could be started: {error}")))?.block_on(work)
}

/// Connects to the service.
pub(super) async fn connect(at: &Listen) -> Result<Channel, Ended> {
    let unreachable = |error: tonic::transport::Error| {
        // The innermost cause is the system's own word, such as "connection refused"; what is around it says nothing to a person.
        let mut cause: &dyn std::error::Error = &error;
        while let Some(inner) = cause.source() {
            cause = inner;
        }
        Ended::new(Exit::Unreachable, nobody_answers(at, cause))
    };
    match at {
        Listen::Tcp(address) => {
            let endpoint = Endpoint::from_shared(format!("http://{address}")).map_err(unreachable)?;
            endpoint.connect_timeout(PATIENCE).timeout(ANSWERED_WITHIN).connect().await.map_err(unreachable)
        }
        Listen::Unix(path) => {
            let path = path.clone();
            let dial = tower::service_fn(move |_: Uri| {
                let path = path.clone();
                async move { Ok::<_, std::io::Error>(TokioIo::new(tokio::net::UnixStream::connect(path).await?)) }
            });
            // The address is not used on a Unix socket, but HTTP/2 wants one.
            Endpoint::from_static("http://localhost")
                .connect_timeout(PATIENCE)
                .timeout(ANSWERED_WITHIN)
                .connect_with_connector(dial)
                .await
                .map_err(unreachable)
        }
    }
}

/// Why there is no connection, in words that name the mend.
fn nobody_answers(at: &Listen, cause: &(dyn std::error::Error + 'static)) -> String {
    let kind = cause.downcast_ref::<std::io::Error>().map(std::io::Error::kind);
    if matches!((at, kind), (Listen::Unix(_), Some(std::io::ErrorKind::PermissionDenied))) {
        return format!(
            "{at} may be used by the service's own user and root alone ({cause}); run this as that user, or with sudo and --person \
             to say who you are"
        );
    }
    format!("no service answers at {at} ({cause}); is `hearthward serve` running, and is --at right?")
}

/// What a status means for a person at the command line: one that the service sent, or one that stands for a connection that failed.
pub(super) fn refused(status: Status) -> Ended {
    match status.code() {
        // The connection's own limit says no more than that time is over.
        Code::Cancelled => Ended::new(
            Exit::Unreachable,
            format!(
                "something listens there but gave no answer within {} s ({}); is it `hearthward serve`, and is --at right?",
                ANSWERED_WITHIN.as_secs(),
                status.message()
            ),
        ),
        // What the service sends has no cause on this side of the connection.
        _ if std::error::Error::source(&status).is_some() => Ended::new(
            Exit::Unreachable,
            format!(
                "the service went away in the middle of this ({}); whether a command was carried out is not known here: when it runs \
                 again, `hearthward status` shows how things stand, and `hearthward watch --from` what is on record",
                status.message()
            ),
        ),
        Code::DeadlineExceeded => Ended::new(Exit::Unanswered, status.message()),
        Code::Unavailable => Ended::new(Exit::Unreachable, status.message()),
        _ => Ended::new(Exit::Refused, status.message()),
    }
}

/// A name for a command, so that a repeat of it is known.
pub(super) fn request_id() -> String {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    format!("cli-{}-{}", since.as_nanos(), std::process::id())
}

/// A message as proto3 writes it in JSON, on one line.
pub(super) fn json(name: &str, message: &impl Message) -> String {
    static POOL: LazyLock<DescriptorPool> = LazyLock::new(|| {
        DescriptorPool::decode(hearthward_proto::FILE_DESCRIPTOR_SET).expect("the descriptors were compiled with the program")
    });
    let descriptor =
        POOL.get_message_by_name(&format!("{}.{name}", hearthward_proto::PACKAGE)).expect("the message is of the package");
    let dynamic = DynamicMessage::decode(descriptor, message.encode_to_vec().as_slice()).expect("the message is of that type");
    serde_json::to_string(&dynamic).expect("a message can always be written as JSON")
}

#[cfg(test)]
mod tests {
    use std::io::{Error, ErrorKind};
    use std::sync::Arc;

    use super::*;

    /// Goal: who may not use a socket is told who may; a service that is away is another matter.
    #[test]
    fn a_socket_of_another_user_is_told_as_what_it_is() {
        let socket: Listen = "unix:/run/hearthward/api".parse().expect("an address");
        let told = nobody_answers(&socket, &Error::from(ErrorKind::PermissionDenied));
        assert!(told.starts_with("unix:/run/hearthward/api may be used by") && told.contains("sudo and --person"), "{told}");
        for (at, kind) in [("unix:/run/hearthward/api", ErrorKind::NotFound), ("127.0.0.1:4170", ErrorKind::PermissionDenied)] {
            let told = nobody_answers(&at.parse().expect("an address"), &Error::from(kind));
            assert!(told.starts_with(&format!("no service answers at {at}")), "{told}");
        }
    }

    #[test]
    fn a_connection_that_fails_is_no_refusal_and_an_answer_that_is_owed_is_neither() {
        let exit = |status| refused(status).exit;
        for code in [Code::Unknown, Code::Internal, Code::Unavailable] {
            let mut broken = Status::new(code, "transport error");
            broken.set_source(Arc::new(std::io::Error::other("connection reset")));
            let ended = refused(broken);
            assert_eq!(ended.exit, Exit::Unreachable);
            assert!(ended.words.contains("went away") && ended.words.contains("(transport error)"), "{}", ended.words);
        }
        // What a service sends has its code and its sentence alone.
        assert_eq!(exit(Status::internal("no")), Exit::Refused);
        assert_eq!(exit(Status::failed_precondition("The door is open.")), Exit::Refused);
        assert_eq!(exit(Status::unavailable("the service is ending")), Exit::Unreachable);
        assert_eq!(exit(Status::deadline_exceeded("not on record yet")), Exit::Unanswered);
    }
}
