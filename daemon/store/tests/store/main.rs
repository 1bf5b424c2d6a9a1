//! What the store promises, against real files.

#[cfg(test)]
mod fixture;
#[cfg(test)]
mod journaling;
#[cfg(test)]
mod keeping;
#[cfg(test)]
mod killing;
#[cfg(test)]
mod older;
#[cfg(test)]
mod poison;
#[cfg(test)]
mod rescuing;
#[cfg(test)]
mod rollups;
#[cfg(test)]
mod sharing;
