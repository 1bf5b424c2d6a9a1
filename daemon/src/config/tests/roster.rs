//! Hours, days off, roles and other visits: one good file, and each mistake as people read it.

use claymark_model::roster::{OtherVisit, Role, VisitDay, WeekDay};
use jiff::civil::time;

use super::{BASE, accepted, around, good, mistakes};
use crate::config;

const DUTY: &str = "email = \"duty@example.org\"";
const LAMP: &str = "id = \"lamp\"\nmqtt = true";
const VISIT: &str = "next_visit = \"07:30\"";

#[test]
fn hours_days_off_and_other_visits_are_kept_and_shown() {
    let duty = format!(
        "{DUTY}\nrole = \"night\"\nhours = [\"mon-fri 17:00-07:30\", \"sat,sun 00:00-24:00\"]\ndays_off = [\"2027-12-24..2027-12-26\"]"
    );
    let lamp = format!(
        "{LAMP}\nonly = \"danger\"\n[[contact]]\nid = \"boss\"\nemail = \"boss@example.org\"\nrole = \"manager\""
    );
    let visit =
        format!("{VISIT}\nvisits = {{ sat = \"09:00\", sun = \"none\", \"2027-12-25\" = \"11:00\" }}");
    let file = good(&[(DUTY, &duty), (LAMP, &lamp), (VISIT, &visit)]);
    let site = &file.settings.site;
    let [duty, lamp, boss] = site.contacts.as_slice() else { panic!("three contacts") };
    assert_eq!((duty.role, duty.hours.len(), duty.days_off.len()), (Role::Night, 2, 1));
    let weekend = duty.hours.last().expect("two windows");
    assert_eq!(
        (weekend.days.as_slice(), weekend.to),
        ([WeekDay::Sat, WeekDay::Sun].as_slice(), time(0, 0, 0, 0))
    );
    assert!(lamp.only_danger && !duty.only_danger);
    assert_eq!(boss.role, Role::Manager);
    let saturday = OtherVisit { on: VisitDay::Each(WeekDay::Sat), at: Some(time(9, 0, 0, 0)) };
    assert!(site.staff.other_visits.contains(&saturday) && site.staff.other_visits.len() == 3);
    let shown = config::describe(&file.settings);
    let people: Vec<&str> =
        shown.lines().filter(|line| line.contains("alled") || line.contains("isit")).collect();
    insta::assert_snapshot!("roster", people.join("\n"));
}

#[test]
fn days_of_the_week_may_run_over_its_end() {
    let duty = format!("{DUTY}\nhours = [\"sat-mon 20:00-06:00\"]");
    let file = accepted(&BASE.replacen(DUTY, &duty, 1), &around());
    let hours = &file.settings.site.contacts.first().expect("two contacts").hours;
    assert_eq!(hours.first().expect("one window").days, [WeekDay::Mon, WeekDay::Sat, WeekDay::Sun]);
}

#[test]
fn an_hour_without_anybody_and_whatever_cannot_be_read_is_refused_with_a_remedy() {
    let cases: [(&str, &[(&str, String)]); 7] = [
        (
            "nobody on a Saturday afternoon",
            &[
                (DUTY, format!("{DUTY}\nhours = [\"mon-fri 00:00-24:00\", \"sat,sun 17:00-09:00\"]")),
                (LAMP, format!("{LAMP}\nrole = \"night\"")),
            ],
        ),
        (
            "nobody stands in on a day off",
            &[
                (DUTY, format!("{DUTY}\ndays_off = [\"2027-12-24\"]")),
                (LAMP, format!("{LAMP}\nrole = \"day\"")),
            ],
        ),
        (
            "nobody reads the evening message",
            &[(DUTY, format!("{DUTY}\nonly = \"danger\"")), (LAMP, format!("{LAMP}\nonly = \"danger\""))],
        ),
        (
            "hours that are none",
            &[(DUTY, format!("{DUTY}\nhours = [\"mo-fr 17-7\", \"daily 25:00-06:00\"]"))],
        ),
        ("a day off that is none", &[(DUTY, format!("{DUTY}\ndays_off = [\"24.12.2027\"]"))]),
        (
            "visits that are none",
            &[(VISIT, format!("{VISIT}\nvisits = {{ caturday = \"09:00\", sun = \"9\" }}"))],
        ),
        (
            "nobody comes at all",
            &[(
                VISIT,
                format!(
                    "{VISIT}\nvisits = {{ mon = \"none\", tue = \"none\", wed = \"none\", thu = \"none\", fri = \"none\", sat = \"none\", sun = \"none\" }}"
                ),
            )],
        ),
    ];
    let told = cases.map(|(what, changes)| {
        let text = changes.iter().fold(BASE.to_owned(), |text, (from, to)| text.replacen(from, to, 1));
        format!("# {what}\n{}", mistakes(&text))
    });
    insta::assert_snapshot!("mistakes-roster", told.join("\n"));
}
