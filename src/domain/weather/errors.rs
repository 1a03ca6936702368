//! How wrong a forecast is, and ensembles drawn from that.
