//! What every handler can reach.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use tokio::sync::Notify;

use crate::actions::Service;
use crate::config::Settings;

use super::copies::Copies;
use super::forms::Forms;
use super::guards::AddressLimit;
use super::metrics::Metrics;
use super::pictures::Pictures;
use super::served::Served;
use super::upload::Room;

/// State of the router; cheap to clone.
#[derive(Debug, Clone)]
pub struct App {
    /// What actions work with.
    pub service: Service,
    /// Settings of this server.
    pub settings: Arc<Settings>,
    /// How many tries to sign in come from one address.
    pub sign_ins: AddressLimit,
    /// What is counted.
    pub metrics: Metrics,
    /// Plan views that were drawn already.
    pub pictures: Pictures,
    /// Room for the files of all uploads.
    pub uploads: Room,
    /// Forms on their way in.
    pub forms: Forms,
    /// Files on their way out.
    pub served: Served,
    /// Copies of the whole school, one at a time.
    pub copies: Copies,
    /// Asks for a new beginning on the same folder.
    pub restart: Restart,
}

/// A new beginning on the same folder, as after a backup is to be put back: the server finishes what was accepted, closes the
/// school, and whoever started it opens it again.
#[derive(Debug, Clone, Default)]
pub struct Restart(Arc<Asked>);

#[derive(Debug, Default)]
struct Asked {
    asked: AtomicBool,
    told: Notify,
}

impl Restart {
    /// Asks for it.
    pub fn ask(&self) {
        self.0.asked.store(true, Ordering::SeqCst);
        self.0.told.notify_one();
    }

    /// Whether somebody asked.
    #[must_use]
    pub fn is_asked(&self) -> bool {
        self.0.asked.load(Ordering::SeqCst)
    }

    /// Done when somebody asks.
    pub(super) async fn wait(&self) {
        self.0.told.notified().await;
    }
}

impl App {
    /// Puts the pieces together.
    #[must_use]
    pub fn new(service: Service, settings: Settings) -> Self {
        let metrics = Metrics::new(&service.store);
        Self {
            service,
            metrics,
            settings: Arc::new(settings),
            sign_ins: AddressLimit::default(),
            pictures: Pictures::default(),
            uploads: Room::default(),
            forms: Forms::default(),
            served: Served::default(),
            copies: Copies::default(),
            restart: Restart::default(),
        }
    }
}
