//! `platemark serve`: the server.

use std::io::ErrorKind;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, bail};
use tokio::net::TcpListener;

use super::{block_on, log, say};
use crate::actions::Service;
use crate::actions::clock::Clock;
use crate::actions::restore;
use crate::actions::scan;
use crate::actions::sign_in::Lasting;
use crate::config::{Given, Settings};
use crate::store::held::Held;
use crate::store::people::{self, Role};
use crate::store::{Store, StoreError};
use crate::web::app::App;
use crate::web::serve::{Stop, serve, serve_metrics};

/// Arguments of the command.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  platemark instructor add ferro --data /srv/platemark\n  \
    platemark serve --data /srv/platemark --listen 127.0.0.1:8080\n  \
    platemark serve --data /srv/platemark --scan /usr/local/bin/look-through --scan-with \"--stream -\"\n\n\
    The program of --scan runs under the account of the server, without a shell, with PATH as its only variable, in the \
    root folder; at most as many at once as there are processors; what it prints is dropped. Try it first: with a file that \
    it must find on its standard input its exit status has to be 1, with any other 0.")]
pub struct Args {
    /// Read settings from this file (TOML); flags and the environment win over it
    #[arg(long, env = "PLATEMARK_SETTINGS", value_name = "FILE")]
    settings: Option<PathBuf>,
    #[command(flatten)]
    given: Given,
}

/// Reads the settings of a command; `data` is its folder where none is given.
pub(super) fn settings(file: Option<&Path>, given: Given, data: &str) -> anyhow::Result<Settings> {
    let given = match file {
        None => given,
        Some(file) => {
            let name = file.display().to_string();
            let text = std::fs::read_to_string(file).with_context(|| format!("the settings file {name}"))?;
            given.or(Given::from_toml(&name, &text)?)
        }
    };
    Ok(Settings::new(given, PathBuf::from(data))?)
}

/// Takes the data folder for this process; it is made where it is not there.
pub(super) fn hold(settings: &Settings) -> anyhow::Result<Held> {
    let folder = settings.data.display();
    std::fs::create_dir_all(&settings.data).with_context(|| format!("the data folder {folder} cannot be made"))?;
    Ok(Held::take(&settings.data)?)
}

/// Opens the database of a folder, which is made where it is not there.
pub(super) async fn open(settings: &Settings, clock: Clock) -> anyhow::Result<Service> {
    let folder = settings.data.display();
    std::fs::create_dir_all(&settings.data).with_context(|| format!("the data folder {folder} cannot be made"))?;
    let store = Store::open(&settings.data)
        .await
        .with_context(|| format!("in the data folder {folder}"))?;
    Ok(service_of(settings, store, clock))
}

fn service_of(settings: &Settings, store: Store, clock: Clock) -> Service {
    let lasting = Lasting {
        idle: settings.idle,
        longest: settings.longest,
    };
    Service::new(store, clock, lasting).with_scan(settings.scan.clone())
}

/// Whether the program that is to look through files is there: said now, and not to the first pair with a photo.
pub(super) fn check_scan(settings: &Settings) -> anyhow::Result<()> {
    Ok(settings.scan.as_ref().map_or(Ok(()), scan::check)?)
}

/// Takes the port of the pages.
pub(super) async fn listen(settings: &Settings) -> anyhow::Result<TcpListener> {
    bind(settings.listen, "--listen").await
}

/// Takes a port, and says what to do where somebody else has it.
async fn bind(address: SocketAddr, option: &str) -> anyhow::Result<TcpListener> {
    match TcpListener::bind(address).await {
        Ok(listener) => Ok(listener),
        Err(error) if error.kind() == ErrorKind::AddrInUse => {
            let other = address.port().checked_add(1).unwrap_or(8081);
            bail!(
                "another program listens on {address} already. Stop it, or choose another port: {option} {}:{other}",
                address.ip()
            )
        }
        Err(error) => Err(error).with_context(|| format!("cannot listen on {address}; choose another with {option}")),
    }
}

pub(super) fn run(args: Args) -> anyhow::Result<ExitCode> {
    log("info");
    let settings = settings(args.settings.as_deref(), args.given, "data")?;
    check_scan(&settings)?;
    warn_of(&settings);
    block_on(async {
        let _held = hold(&settings)?;
        restore::sweep(&settings.data);
        put_ready_in_place(&settings).await?;
        let service = open(&settings, Clock::default()).await?;
        let listener = listen(&settings).await?;
        let stop = hear()?;
        say(format_args!("Platemark listens on http://{}", listener.local_addr()?))?;
        if people::count(&service.store, Role::Instructor).await? == 0 {
            let data = settings.data.display();
            say(format_args!(
                "There is no instructor yet: platemark instructor add NAME --data {data}"
            ))?;
        }
        serve_again(settings, service, listener, stop).await?;
        Ok(ExitCode::SUCCESS)
    })
}

/// Listens to what asks the process to stop. Before it is said that the server is there: whoever reads that may ask at once.
pub(super) fn hear() -> anyhow::Result<Stop> {
    Stop::listen().context("the system does not tell this program when it is to stop")
}

/// Says what is probably not meant.
fn warn_of(settings: &Settings) {
    if settings.behind_tls && !settings.forwarded_for {
        tracing::warn!(
            "--behind-tls without --forwarded-for: to this server everybody comes from the address of the proxy, so that wrong \
             tries to sign in from anywhere count for all; let the proxy put the browser's address last into X-Forwarded-For \
             and start with --forwarded-for"
        );
    }
}

/// Opens the database of a folder after a file took its place.
pub(super) async fn open_again(settings: &Settings) -> Result<Service, StoreError> {
    let store = Store::open(&settings.data).await?;
    Ok(service_of(settings, store, Clock::default()))
}

/// Puts a backup in place that a page has laid ready.
pub(super) async fn put_ready_in_place(settings: &Settings) -> anyhow::Result<()> {
    let now = Clock::default().now();
    let opened = async || open_again(settings).await;
    if restore::put_ready_in_place(&settings.data, now, opened).await? {
        // Not said on the standard output: whoever read that at the start may be gone.
        tracing::warn!("a backup was to be put in place; the page /restore says what came of it");
    }
    Ok(())
}

/// Serves until the process is asked to stop. Where a page asks for a restart the school is closed, a backup that lies ready
/// takes its place, and it is opened again at the same address.
pub(super) async fn serve_again(
    settings: Settings,
    service: Service,
    listener: TcpListener,
    stop: Stop,
) -> anyhow::Result<()> {
    let address = listener.local_addr()?;
    // One ear for the whole time: a signal between two schools is heard too.
    let (heard, told_to_stop) = tokio::sync::watch::channel(false);
    tokio::spawn(async move {
        stop.asked().await;
        heard.send_replace(true);
        // Kept, so that those who wait are never told that nobody speaks any more.
        std::future::pending::<()>().await;
    });
    let (mut service, mut listener) = (service, listener);
    loop {
        let app = App::new(service, settings.clone());
        let told = match settings.metrics {
            Some(metrics) => Some(bind(metrics, "--metrics").await?),
            None => None,
        };
        let told = told.map(|listener| tokio::spawn(serve_metrics(app.clone(), listener)));
        let restart = app.restart.clone();
        let mut asked = told_to_stop.clone();
        serve(app, listener, async move {
            asked.wait_for(|asked| *asked).await.ok();
        })
        .await;
        if let Some(told) = told {
            told.abort();
            told.await.ok();
        }
        if *told_to_stop.borrow() || !restart.is_asked() {
            return Ok(());
        }
        put_ready_in_place(&settings).await?;
        service = open(&settings, Clock::default()).await?;
        listener = bind(address, "--listen").await?;
    }
}
