//! What every handler can reach.

use std::sync::Arc;

use crate::actions::Service;
use crate::config::Settings;

use super::guards::AddressLimit;
use super::metrics::Metrics;
use super::pictures::Pictures;

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
        }
    }
}
