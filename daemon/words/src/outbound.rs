//! What goes out and doesn't arrive: notices that are given up, rows that wait for InfluxDB.

/// A notice that was taken that many times, each time without an answer.
#[must_use]
pub fn perhaps_arrived(times: u32, at_last: &str) -> String {
    format!(
        "it was taken {times} times without a word that it is kept, it may have arrived; at last: {at_last}"
    )
}

/// A notice that was still on its way when it was of no use any more.
#[must_use]
pub fn of_no_use(hours: i64, attempts: u32, last: &str) -> String {
    let at_last = if last.is_empty() { String::new() } else { format!("; at last: {last}") };
    format!("it is of no use any more {hours} h after it was decided; attempts: {attempts}{at_last}")
}

/// Rows wait for InfluxDB, and nothing else is wrong.
pub const MORE_COMES_IN: &str = "more comes in than goes out";

/// Rows that InfluxDB took aren't there.
pub const NOT_KEPT_THERE: &str =
    "the server takes readings and doesn't keep them; see its log and its retention";
