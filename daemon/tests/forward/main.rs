//! Forwarding through an outage of three days, to a real server, on a clock that only the test moves.

#[cfg(test)]
mod outage;
