//! Where the API listens: this computer only, by TCP or by a Unix socket.

use std::fs::{DirBuilder, Permissions};
use std::io;
use std::net::SocketAddr;
use std::os::unix::fs::{DirBuilderExt, FileTypeExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::task::{Context, Poll};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream, UnixListener, UnixStream};
use tokio::sync::OwnedSemaphorePermit;
use tonic::transport::server::Connected;

/// An address to listen at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Address {
    /// TCP on a loopback address; port 0 takes a free one.
    Tcp(SocketAddr),
    /// A Unix socket that only the service's own user may open.
    Unix(PathBuf),
}

/// Why an address cannot be listened at. Each text names the address and the mend.
#[derive(Debug, thiserror::Error)]
pub enum BindError {
    /// The address can be reached from other computers.
    #[error(
        "{0} can be reached from other computers, and this version cannot tell people apart; listen at 127.0.0.1 or [::1], or at a Unix socket"
    )]
    NotLoopback(SocketAddr),
    /// Another process answers there.
    #[error("another service answers at {path}; stop it, or name another socket", path = .0.display())]
    Answered(PathBuf),
    /// Something that is not a socket lies there.
    #[error("{path} is not a socket and is left alone; name another path", path = .0.display())]
    NotSocket(PathBuf),
    /// The system refuses.
    #[error("cannot listen at {address}: {source}; {mend}", mend = mend(source))]
    Refused {
        /// Where.
        address: String,
        /// What the system says.
        source: io::Error,
    },
}

/// A bound listener.
#[derive(Debug)]
pub struct Listener {
    kind: Kind,
    address: Address,
}

#[derive(Debug)]
enum Kind {
    Tcp(TcpListener),
    Unix(UnixListener),
}

impl Listener {
    /// Binds an address. A Unix socket that nobody answers at is replaced.
    ///
    /// # Errors
    /// [`BindError`], which names the address and the mend.
    pub async fn bind(address: &Address) -> Result<Self, BindError> {
        match address {
            Address::Tcp(socket) if !socket.ip().is_loopback() => Err(BindError::NotLoopback(*socket)),
            Address::Tcp(socket) => {
                let listener = TcpListener::bind(socket).await.map_err(|source| refused(address, source))?;
                Self::of_tcp(listener)
            }
            Address::Unix(path) => {
                clear_stale(path).await?;
                let listener = bind_private(path).map_err(|source| refused(address, source))?;
                Ok(Self { kind: Kind::Unix(listener), address: address.clone() })
            }
        }
    }

    /// Takes a listener that somebody else bound, as a service manager does.
    ///
    /// # Errors
    /// [`BindError::NotLoopback`] when other computers can reach it.
    pub fn of_tcp(listener: TcpListener) -> Result<Self, BindError> {
        let socket = listener
            .local_addr()
            .map_err(|source| BindError::Refused { address: "a socket that was handed over".into(), source })?;
        if !socket.ip().is_loopback() {
            return Err(BindError::NotLoopback(socket));
        }
        Ok(Self { kind: Kind::Tcp(listener), address: Address::Tcp(socket) })
    }

    /// Where it listens, with the port that was taken.
    #[must_use]
    pub fn address(&self) -> &Address {
        &self.address
    }

    /// The next connection.
    pub(crate) async fn accept(&self) -> io::Result<Stream> {
        match &self.kind {
            Kind::Tcp(listener) => {
                let (stream, _) = listener.accept().await?;
                // Events are small and people wait for them.
                stream.set_nodelay(true)?;
                Ok(Stream::Tcp(stream))
            }
            Kind::Unix(listener) => Ok(Stream::Unix(listener.accept().await?.0)),
        }
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        if let Address::Unix(path) = &self.address {
            // Left behind, it would be found stale and replaced at the next start.
            let _ = std::fs::remove_file(path);
        }
    }
}

impl std::fmt::Display for Address {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Tcp(socket) => write!(f, "{socket}"),
            Self::Unix(path) => write!(f, "unix:{}", path.display()),
        }
    }
}

/// A connection of either kind, and its place among those that are permitted at one time.
#[derive(Debug)]
pub(crate) struct Connection {
    stream: Stream,
    _place: OwnedSemaphorePermit,
}

#[derive(Debug)]
pub(crate) enum Stream {
    Tcp(TcpStream),
    Unix(UnixStream),
}

impl Connection {
    pub(crate) fn new(stream: Stream, place: OwnedSemaphorePermit) -> Self {
        Self { stream, _place: place }
    }
}

impl Connected for Connection {
    type ConnectInfo = ();
    fn connect_info(&self) -> Self::ConnectInfo {}
}

impl AsyncRead for Connection {
    fn poll_read(self: Pin<&mut Self>, context: &mut Context<'_>, into: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        match &mut self.get_mut().stream {
            Stream::Tcp(stream) => Pin::new(stream).poll_read(context, into),
            Stream::Unix(stream) => Pin::new(stream).poll_read(context, into),
        }
    }
}

impl AsyncWrite for Connection {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, from: &[u8]) -> Poll<io::Result<usize>> {
        match &mut self.get_mut().stream {
            Stream::Tcp(stream) => Pin::new(stream).poll_write(context, from),
            Stream::Unix(stream) => Pin::new(stream).poll_write(context, from),
        }
    }

    fn poll_write_vectored(self: Pin<&mut Self>, context: &mut Context<'_>, from: &[io::IoSlice<'_>]) -> Poll<io::Result<usize>> {
        match &mut self.get_mut().stream {
            Stream::Tcp(stream) => Pin::new(stream).poll_write_vectored(context, from),
            Stream::Unix(stream) => Pin::new(stream).poll_write_vectored(context, from),
        }
    }

    fn is_write_vectored(&self) -> bool {
        match &self.stream {
            Stream::Tcp(stream) => stream.is_write_vectored(),
            Stream::Unix(stream) => stream.is_write_vectored(),
        }
    }

    fn poll_flush(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        match &mut self.get_mut().stream {
            Stream::Tcp(stream) => Pin::new(stream).poll_flush(context),
            Stream::Unix(stream) => Pin::new(stream).poll_flush(context),
        }
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        match &mut self.get_mut().stream {
            Stream::Tcp(stream) => Pin::new(stream).poll_shutdown(context),
            Stream::Unix(stream) => Pin::new(stream).poll_shutdown(context),
        }
    }
}

/// What a person can do about it.
fn mend(source: &io::Error) -> &'static str {
    match source.kind() {
        io::ErrorKind::AddrInUse => "another program listens there: stop it, or name another port with --listen or api.listen",
        io::ErrorKind::AddrNotAvailable => "this computer has no such address: listen at 127.0.0.1 or [::1]",
        io::ErrorKind::PermissionDenied => "this user may not: name a port from 1024 up, or a folder that this user may write to",
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => "make the folder that the socket is to lie in, or name another",
        io::ErrorKind::ReadOnlyFilesystem => "name a folder that can be written to",
        io::ErrorKind::InvalidInput => "the path is too long for a socket: name one of at most 80 bytes",
        _ => "name another address with --listen or api.listen",
    }
}

fn refused(address: &Address, source: io::Error) -> BindError {
    BindError::Refused { address: address.to_string(), source }
}

/// Removes a socket that a service left behind, and only that.
async fn clear_stale(path: &Path) -> Result<(), BindError> {
    let Ok(found) = std::fs::symlink_metadata(path) else { return Ok(()) };
    if !found.file_type().is_socket() {
        return Err(BindError::NotSocket(path.into()));
    }
    match UnixStream::connect(path).await {
        Err(error) if error.kind() == io::ErrorKind::ConnectionRefused => {
            std::fs::remove_file(path).map_err(|source| refused(&Address::Unix(path.into()), source))
        }
        // It answers, or it is somebody else's and cannot be asked: either way not ours to remove.
        _ => Err(BindError::Answered(path.into())),
    }
}

/// Binds inside a folder that only this user may enter, narrows the socket's mode, and only then moves it to its place: at no time
/// can another user connect.
fn bind_private(path: &Path) -> io::Result<UnixListener> {
    let mut folder = path.as_os_str().to_owned();
    folder.push(format!(".{}", std::process::id()));
    let folder = PathBuf::from(folder);
    DirBuilder::new().mode(0o700).create(&folder)?;
    let hidden = folder.join("s");
    let bound = UnixListener::bind(&hidden).and_then(|listener| {
        std::fs::set_permissions(&hidden, Permissions::from_mode(0o600))?;
        std::fs::rename(&hidden, path)?;
        Ok(listener)
    });
    if bound.is_err() {
        // What is left of a failed attempt; the error says more than a failure to tidy up.
        let _ = std::fs::remove_file(&hidden);
    }
    let _ = std::fs::remove_dir(&folder);
    bound
}
