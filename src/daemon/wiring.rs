//! What the settings name, opened: the store, and the way to the weather.

use crate::adapters::delivery::InternetMail;
use crate::adapters::intake::archive::DayFiles;
use crate::adapters::sqlite::{Options, Store};
use crate::adapters::weather::client::{ClientError, Clients};
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::own_phrases;
use crate::app::ports::{AppStore, Ports};
use crate::app::settings::Settings;
use crate::daemon::clients;
use crate::domain::catalogue::Catalogue;

impl AppContext {
    /// Opens the store that the settings name.
    ///
    /// # Errors
    /// [`ServiceError`]: the tables, the yard's own words or the store.
    pub fn open(settings: Settings, options: Options) -> Result<Self, ServiceError> {
        let catalogue = Catalogue::built_in()?;
        own_phrases(&settings).map_err(|faults| ServiceError::Outside(faults.join("\n").into()))?;
        let store = Store::open(&settings.store.path, options)?;
        Ok(Self::over(settings, catalogue, Box::new(store)))
    }

    /// Over a store that is open already; nothing of it has been read yet.
    #[must_use]
    pub fn over(settings: Settings, catalogue: Catalogue, store: Box<dyn AppStore>) -> Self {
        let (mailer, day_archive) = (Box::new(InternetMail), Box::new(DayFiles));
        Self::on(settings, catalogue, Ports { store, mailer, day_archive })
    }

    /// The clients of the configured services; `None` where all are switched off.
    ///
    /// # Errors
    /// [`ServiceError`]: address, contact or key.
    pub fn weather_client(&self) -> Result<Option<Clients>, ServiceError> {
        clients::clients(&self.settings.forecast)
    }
}

impl From<ClientError> for ServiceError {
    fn from(error: ClientError) -> Self {
        Self::Client(Box::new(error))
    }
}
