//! Logs, systemd and signals.
