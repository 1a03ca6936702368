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
use crate::domain::boat::Boat;
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
        let house = Self::over(settings, catalogue, Box::new(store));
        house.mark_boats()?;
        Ok(house)
    }

    /// Boats that an older program has put there are marked by the tables of this one; the log stays as it is.
    fn mark_boats(&self) -> Result<(), ServiceError> {
        let unmarked = self.store.boats()?.into_iter().filter(|boat| !boat.is_marked());
        let anew: Vec<Boat> = unmarked.map(|boat| boat.marked_anew(&self.catalogue)).collect();
        if !anew.is_empty() {
            self.store.put_yard(&[], &[], &anew)?;
        }
        Ok(())
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
