//! Listening: on this machine alone, or where other machines can reach it once everybody who may write has a password.

use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;

use tokio::net::TcpListener;

use crate::access::{Access, Beyond};
use crate::app::{App, router};

/// An address that only this machine can reach.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Loopback(SocketAddr);

impl Loopback {
    /// The address, if no other machine can reach it.
    #[must_use]
    pub fn of(address: SocketAddr) -> Option<Self> {
        address.ip().is_loopback().then_some(Self(address))
    }

    /// This port of this machine; 0 for any that is free.
    #[must_use]
    pub fn port(port: u16) -> Self {
        Self(SocketAddr::from((Ipv4Addr::LOCALHOST, port)))
    }
}

/// Serves the pages until the program is interrupted or told to end; requests that have begun are answered first,
/// and streams to open pages are ended.
/// Listens at the first of these addresses that is free; `ready` is told which.
///
/// # Errors
/// Where none of the addresses can be had, what the last one says; what the system says.
pub fn serve(app: App, addresses: &[Loopback], ready: impl FnOnce(SocketAddr)) -> io::Result<()> {
    let addresses: Vec<SocketAddr> = addresses.iter().map(|address| address.0).collect();
    listen(App { access: Access::ThisMachine, ..app }, &addresses, ready)
}

/// The same where other machines can reach it: every page then asks for a sign-in.
///
/// # Errors
/// Where the address cannot be had; what the system says.
pub fn serve_network(app: App, beyond: &Beyond, ready: impl FnOnce(SocketAddr)) -> io::Result<()> {
    listen(app.for_network(beyond), &[beyond.address], ready)
}

fn listen(app: App, addresses: &[SocketAddr], ready: impl FnOnce(SocketAddr)) -> io::Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async {
        let listener = TcpListener::bind(addresses).await?;
        ready(listener.local_addr()?);
        let live = Arc::clone(&app.live);
        let end = async move {
            told_to_end().await;
            live.end();
        };
        let pages = router(app).into_make_service_with_connect_info::<SocketAddr>();
        axum::serve(listener, pages).with_graceful_shutdown(end).await
    })
}

/// Waits until somebody ends the program from outside.
async fn told_to_end() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut end) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = tokio::signal::ctrl_c() => {}
                _ = end.recv() => {}
            }
            return;
        }
    }
    // Where no signal can be had, the program ends as the system ends it.
    let _ = tokio::signal::ctrl_c().await;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_this_machine_can_be_listened_at() {
        for (address, fine) in [
            ("127.0.0.1:80", true),
            ("127.8.8.8:0", true),
            ("[::1]:8470", true),
            ("0.0.0.0:80", false),
            ("[::]:80", false),
            ("192.168.1.9:80", false),
            ("[::ffff:127.0.0.1]:80", false),
        ] {
            let address: SocketAddr = address.parse().expect("an address");
            assert_eq!(Loopback::of(address).is_some(), fine, "{address}");
        }
    }
}
