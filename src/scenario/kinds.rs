//! Starter scenarios for `halfloom new`.
