//! Whether a mail is an answer: decided from its first line, its sender, the secret and the time.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use claymark_model::id::Id;
use claymark_notice::Answer;
use claymark_words::replies::NotTaken;

use super::code;
use super::mail::ReplyMail;
use crate::ahead::ahead;

/// What a contact's mail comes to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Judged {
    /// An answer.
    Answer(Answer),
    /// The answer to a test.
    Test,
    /// None; the contact is told why.
    Refused(NotTaken),
    /// Nobody wrote it.
    LeftAlone,
}

/// The contact who wrote, by id and name.
#[derive(Debug, Clone, Copy)]
pub struct ReplyWriter<'a> {
    /// The id.
    pub contact: &'a Id,
    /// The name, by which the answer is given.
    pub name: &'a str,
}

/// Reads "8 4711", "8 4711 04:30" or the like from the first line.
#[must_use]
pub fn judge(
    mail: &ReplyMail,
    writer: ReplyWriter<'_>,
    secret: &str,
    (now, zone): (Timestamp, &TimeZone),
) -> Judged {
    if mail.by_a_machine {
        return Judged::LeftAlone;
    }
    let line = mail.first_line.replace([',', ';', '#', '\u{a0}'], " ");
    let mut words = line.split_whitespace().map(|word| word.trim_matches(['.', '!', '"', '\'']));
    let number: Option<u64> = words.next().and_then(|word| word.parse().ok());
    let digits =
        words.next().filter(|word| word.len() == 4 && word.bytes().all(|digit| digit.is_ascii_digit()));
    let (Some(notice), Some(typed)) = (number, digits) else { return Judged::Refused(NotTaken::NoCode) };
    if typed != code::of(secret, writer.contact, notice) {
        return Judged::Refused(NotTaken::WrongCode { notice });
    }
    if notice == 0 {
        return Judged::Test;
    }
    let time = words.find(|word| word.bytes().any(|byte| byte.is_ascii_digit()));
    match time.map(|time| ahead(&clock_time(time), now, zone).map_err(|_why| time)).transpose() {
        Ok(there_by) => {
            Judged::Answer(Answer { notice, by: Some(writer.name.to_owned()), at: now, there_by })
        }
        Err(typed) => Judged::Refused(NotTaken::NoTime { notice, typed: typed.to_owned() }),
    }
}

/// "4:30" and "04.30" are times of the day, too.
fn clock_time(typed: &str) -> String {
    let typed = typed.replace('.', ":");
    if typed.find(':') == Some(1) { format!("0{typed}") } else { typed }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judged(line: &str) -> Judged {
        let ann = Id::new("ann").unwrap();
        let line = line
            .replace("CODE", &code::of(SECRET, &ann, 8))
            .replace("KIMS", &code::of(SECRET, &Id::new("kim").unwrap(), 8))
            .replace("SEVENS", &code::of(SECRET, &ann, 7))
            .replace("TEST", &code::of(SECRET, &ann, 0));
        let mail = ReplyMail { from: "ann@barn.example".to_owned(), first_line: line, by_a_machine: false };
        judge(&mail, ReplyWriter { contact: &ann, name: "Ann" }, SECRET, (now(), &zone()))
    }

    const SECRET: &str = "0123456789abcdef";

    fn now() -> Timestamp {
        "2027-04-20T23:10:00Z".parse().unwrap()
    }

    fn zone() -> TimeZone {
        TimeZone::get("Europe/Helsinki").unwrap()
    }

    #[test]
    fn number_and_code_are_an_answer_with_or_without_a_time() {
        let at = |time: &str| Some(time.parse::<Timestamp>().unwrap());
        for (line, there_by) in [
            ("8 CODE", None),
            ("#8, CODE. Thanks, I'm up", None),
            ("8\u{a0}CODE 04:30", at("2027-04-21T01:30:00Z")),
            ("8 CODE by 4:30", at("2027-04-21T01:30:00Z")),
            ("8 CODE, there at 04.30!", at("2027-04-21T01:30:00Z")),
        ] {
            let answer = Answer { notice: 8, by: Some("Ann".to_owned()), at: now(), there_by };
            assert_eq!(judged(line), Judged::Answer(answer), "{line}");
        }
        assert_eq!(judged("0 TEST"), Judged::Test);
    }

    #[test]
    fn anything_else_changes_nothing() {
        let wrong = Judged::Refused(NotTaken::WrongCode { notice: 8 });
        for line in ["8 KIMS", "8 SEVENS"] {
            assert_eq!(judged(line), wrong, "{line}");
        }
        for line in [
            "",
            "yes",
            "CODE 8 04:30",
            "8",
            "8 47111",
            "8 CODECODE",
            "-8 CODE",
            "99999999999999999999 CODE",
            "8 ４７１１",
        ] {
            assert_eq!(judged(line), Judged::Refused(NotTaken::NoCode), "{line}");
        }
        for typed in ["4:3o", "25:00", "2"] {
            let refused = Judged::Refused(NotTaken::NoTime { notice: 8, typed: typed.to_owned() });
            assert_eq!(judged(&format!("8 CODE {typed}")), refused);
        }
    }
}
