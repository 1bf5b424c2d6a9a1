//! Decode, quality and room behind one door, without I/O.
