//! Goal: only this computer can reach the API, and a Unix socket is private and replaced only when nobody answers at it.

use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use hearthward_api::{Address, BindError, Listener};
use hyper_util::rt::TokioIo;
use tokio::net::UnixStream;
use tonic::transport::Endpoint;

#[tokio::test]
async fn addresses_that_others_reach_are_refused_in_words() {
    for address in ["0.0.0.0:0", "[::]:0", "192.0.2.7:4747"] {
        let error = Listener::bind(&Address::Tcp(address.parse().expect("an address"))).await.expect_err("bound");
        assert!(matches!(error, BindError::NotLoopback(_)));
        let text = error.to_string();
        assert!(text.contains("127.0.0.1") && text.contains("Unix socket"), "{text}");
    }
    let open = tokio::net::TcpListener::bind("0.0.0.0:0").await.expect("a port");
    assert!(matches!(Listener::of_tcp(open), Err(BindError::NotLoopback(_))), "handed over or not");
}

#[tokio::test]
async fn a_port_that_is_taken_is_named() {
    let first = Listener::bind(&Address::Tcp("127.0.0.1:0".parse().expect("an address"))).await.expect("binds");
    let error = Listener::bind(first.address()).await.expect_err("taken");
    assert!(error.to_string().contains(&first.address().to_string()), "{error}");
}

#[tokio::test]
async fn a_unix_socket_is_private_served_and_tidied_away() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("hearthward.sock");
    let listener = Listener::bind(&Address::Unix(path.clone())).await.expect("binds");
    let mode = std::fs::metadata(&path).expect("there").permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    assert_eq!(entries(folder.path()), ["hearthward.sock"], "nothing else is left");
    let accepting = async {
        let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
        let served = crate::common::Served::start().await;
        let api = hearthward_api::Api { shop: served.door.clone(), reader: served.door.reader.clone(), version: String::new() };
        let stopped = async {
            let _ = stopped.await;
        };
        let serving = tokio::spawn(hearthward_api::serve(vec![listener], api, stopped, std::future::ready(())));
        let channel = connect(&path).await;
        let mut shop = hearthward_proto::v1::shop_service_client::ShopServiceClient::new(channel);
        shop.get_shop(hearthward_proto::v1::GetShopRequest {}).await.expect("answers");
        drop(shop);
        stop.send(()).expect("serving");
        serving.await.expect("no panic").expect("serves");
    };
    accepting.await;
    assert!(entries(folder.path()).is_empty());
}

#[tokio::test]
async fn a_socket_left_behind_is_replaced_and_a_live_one_is_not() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("hearthward.sock");
    let address = Address::Unix(path.clone());
    // Left behind: bound once, and its process is gone.
    drop(std::os::unix::net::UnixListener::bind(&path).expect("binds"));
    assert!(path.exists());
    let live = Listener::bind(&address).await.expect("replaced");
    assert!(matches!(Listener::bind(&address).await, Err(BindError::Answered(_))));
    drop(live);
    // Something that is no socket stays.
    std::fs::write(&path, "notes").expect("written");
    assert!(matches!(Listener::bind(&address).await, Err(BindError::NotSocket(_))));
    assert_eq!(std::fs::read_to_string(&path).expect("still there"), "notes");
}

async fn connect(path: &Path) -> tonic::transport::Channel {
    let path = path.to_path_buf();
    Endpoint::from_static("http://unix.invalid")
        .connect_with_connector(tower::service_fn(move |_| {
            let path = path.clone();
            async move { UnixStream::connect(path).await.map(TokioIo::new) }
        }))
        .await
        .expect("connects")
}

fn entries(folder: &Path) -> Vec<String> {
    let names = std::fs::read_dir(folder).expect("readable").map(|entry| entry.expect("readable").file_name());
    names.map(|name| name.to_string_lossy().into_owned()).collect()
}

/// Goal: whoever cannot listen is told where, and what to do about it, whatever words the system has for it.
#[tokio::test]
async fn a_refusal_names_the_place_and_the_mend() {
    let taken = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let at = taken.local_addr().expect("its address");
    let folder = tempfile::tempdir().expect("a folder");
    let cases = [
        (Address::Tcp(at), at.to_string(), "another program listens there"),
        (Address::Unix(folder.path().join("none/socket")), "none/socket".to_owned(), "make the folder"),
        (Address::Unix(folder.path().join("s".repeat(200))), "sss".to_owned(), "too long"),
    ];
    for (address, place, mend) in cases {
        let said = Listener::bind(&address).await.expect_err("it cannot listen there").to_string();
        assert!(said.contains(&place) && said.contains(mend), "{said}");
    }
}
