//! Notices reach people through a real mail server, whatever it answers.

#[cfg(test)]
mod commands;
#[cfg(test)]
mod delivering;
#[cfg(test)]
mod doubtful;
#[cfg(test)]
mod lost;
#[cfg(test)]
mod messages;
#[cfg(test)]
mod office;
#[cfg(test)]
mod others;
#[cfg(test)]
mod ways;
#[cfg(test)]
mod webhooks;
