//! Tables in config/catalogue.
