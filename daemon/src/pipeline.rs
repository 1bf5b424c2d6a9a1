//! Decode, quality and room behind one door, without I/O.

#[cfg(test)]
pub(crate) mod tests;
