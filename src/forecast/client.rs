//! The polite client.
