//! The `claymark` binary: hands the command line over.

fn main() {}
