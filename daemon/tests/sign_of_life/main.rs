//! The sign of life against a real HTTP server, on a clock that only the test moves.

#[cfg(test)]
mod calling;
