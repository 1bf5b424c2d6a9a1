//! Numbers, units, clock times and durations, as people read them.

use claymark_model::site::Site;
use claymark_model::units::{
    Celsius, GramsPerLitre, Kilograms, Litres, LitresPerHour, LitresPerMinute, PeopleUnits, Unit,
};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

/// A number with so many decimals; never "-0"; "1.7e308" from [`ABSURD`] on.
#[must_use]
pub fn number(value: f64, decimals: usize) -> String {
    if value.abs() >= ABSURD {
        // 309 digits can't be read, and hide that the number can't be meant.
        return format!("{value:.1e}");
    }
    let text = format!("{value:.decimals$}");
    let is_zero = text.chars().all(|c| matches!(c, '-' | '0' | '.'));
    if is_zero { text.replace('-', "") } else { text }
}

/// "62 L", "16.4 US gal"; below ten litres and below a hundred gallons with one decimal.
#[must_use]
pub fn volume(units: &PeopleUnits, litres: Litres) -> String {
    let value = units.volume.from_base(litres.0);
    format!("{} {}", number(value, volume_decimals(units, value)), units.volume)
}

/// A whole gallon is too coarse for a mark: it is nearly four litres.
fn volume_decimals(units: &PeopleUnits, value: f64) -> usize {
    let coarse = if units.volume == Unit::UsGallon { 99.95 } else { 9.95 };
    usize::from(value.abs() < coarse)
}

/// The same, rounded down: what fits in mustn't be overstated.
#[must_use]
pub fn volume_at_most(units: &PeopleUnits, litres: Litres) -> String {
    let value = units.volume.from_base(litres.0);
    let decimals = volume_decimals(units, value);
    let scale = if decimals == 1 { 10.0 } else { 1.0 };
    format!("{} {}", number((value * scale + 1e-9).floor() / scale, decimals), units.volume)
}

/// The same, rounded up: what must be there mustn't be understated.
#[must_use]
pub fn volume_at_least(units: &PeopleUnits, litres: Litres) -> String {
    let value = units.volume.from_base(litres.0);
    let decimals = if units.volume == Unit::UsGallon { volume_decimals(units, value) } else { 0 };
    let scale = if decimals == 1 { 10.0 } else { 1.0 };
    format!("{} {}", number((value * scale - 1e-9).ceil() / scale, decimals), units.volume)
}

/// "9.4 L/h", "2.5 US gal/h".
#[must_use]
pub fn draw(units: &PeopleUnits, draw: LitresPerHour) -> String {
    let value = units.volume.from_base(draw.0);
    format!("{} {}/h", number(value, usize::from(value.abs() < 99.95)), units.volume)
}

/// "2.05 kg", "4.5 lb", with as many decimals as the scale shows.
#[must_use]
pub fn mass(units: &PeopleUnits, mass: Kilograms, scale_step: Kilograms) -> String {
    let (value, step) = (units.mass.from_base(mass.0), units.mass.from_base(scale_step.0));
    format!("{} {}", number(value, decimals_of(step)), units.mass)
}

/// "25 kg", "50 lb", "50.7 lb": of a bag, or of what people lift.
#[must_use]
pub fn bag(units: &PeopleUnits, mass: Kilograms) -> String {
    let value = units.mass.from_base(mass.0);
    let whole = (value - value.round()).abs() < 0.05;
    format!("{} {}", number(value, usize::from(!whole)), units.mass)
}

/// "18 g/L", "4.0 lb/100 L", of finished slurry.
#[must_use]
pub fn strength(units: &PeopleUnits, strength: GramsPerLitre) -> String {
    let value = units.strength.from_base(strength.0);
    format!("{} {}", number(value, usize::from(value.abs() < 99.95)), units.strength)
}

/// "17.2 ± 0.9 g/L", of finished slurry, one standard deviation; without one where it is nothing.
#[must_use]
pub fn strength_sd(units: &PeopleUnits, value: GramsPerLitre, sd: GramsPerLitre) -> String {
    let shown = units.strength.from_base(sd.0);
    if shown < 0.05 {
        return strength(units, value);
    }
    if sd > value {
        // Nothing can be as far below it: "4.0 ± 20.1" would be read as a measurement.
        return format!(
            "about {}, hardly known (up to {})",
            strength(units, value),
            strength(units, value + sd)
        );
    }
    format!("{} ± {} {}", number(units.strength.from_base(value.0), 1), number(shown, 1), units.strength)
}

/// "51.2 L/min", "13.5 US gal/min", of water.
#[must_use]
pub fn flow(units: &PeopleUnits, flow: LitresPerMinute) -> String {
    let value = units.flow.from_base(flow.0);
    format!("{} {}", number(value, usize::from(value.abs() < 99.95)), units.flow)
}

/// "209 mL/min", of slurry, as cylinder and watch show it.
#[must_use]
pub fn slurry(flow: LitresPerHour) -> String {
    format!("{} mL/min", number(flow.ml_per_min(), 0))
}

/// "20.1 °C", "68.2 °F".
#[must_use]
pub fn temperature(units: &PeopleUnits, temperature: Celsius) -> String {
    format!("{} {}", number(units.temperature.from_base(temperature.0), 1), units.temperature)
}

/// A share between 0 and 1 as "52 %".
#[must_use]
pub fn share(share: f64) -> String {
    format!("{} %", number(100.0 * share, 0))
}

/// "40 s", "25 min", "2 h", "4 h 45 min", "3 days"; rounded to the minute, whole hours beyond two days.
#[must_use]
pub fn duration(duration: SignedDuration) -> String {
    let seconds = duration.abs().as_secs();
    let minutes = (seconds + 30) / 60;
    match (minutes, minutes / 60, minutes % 60) {
        _ if (1..60).contains(&seconds) => format!("{seconds} s"),
        (minutes, 0, _) => format!("{minutes} min"),
        (_, hours, 0) if hours < 48 => format!("{hours} h"),
        (_, hours, minutes) if hours < 48 => format!("{hours} h {minutes} min"),
        (_, hours, _) => format!("{} days", (hours + 12) / 24),
    }
}

/// Clock times as the people's clocks show them, seen from a moment.
#[derive(Debug, Clone, Copy)]
pub struct Clock<'a> {
    zone: &'a TimeZone,
    seen_from: Timestamp,
    obvious: SignedDuration,
}

impl<'a> Clock<'a> {
    /// Times of `site`, told at `seen_from`.
    #[must_use]
    pub fn new(site: &'a Site, seen_from: Timestamp) -> Self {
        Self { zone: &site.time_zone, seen_from, obvious: OBVIOUS }
    }

    /// The moment that times are seen from.
    #[must_use]
    pub fn seen_from(&self) -> Timestamp {
        self.seen_from
    }

    /// For times that stand in one sentence: where one needs its day, all carry theirs.
    #[must_use]
    pub fn together(&self, times: &[Option<Timestamp>]) -> Self {
        let far = |time: &Timestamp| time.duration_since(self.seen_from).abs() > OBVIOUS;
        let obvious = if times.iter().flatten().any(far) { SignedDuration::ZERO } else { OBVIOUS };
        Self { obvious, ..*self }
    }

    /// "02:45"; "Thu 02:45" when it is more than twelve hours away; "Thu 3 Dec 02:45" beyond six days.
    ///
    /// A time that the clock shows twice in one night carries its zone: "03:30 EET".
    #[must_use]
    pub fn time(&self, time: Timestamp) -> String {
        let away = time.duration_since(self.seen_from).abs();
        let pattern = match away {
            away if away <= self.obvious => "%H:%M",
            away if away <= SAME_WEEK => "%a %H:%M",
            _ => "%a %-d %b %H:%M",
        };
        let local = time.to_zoned_datetime(self.zone.clone());
        let another_year =
            away > SAME_WEEK && local.year() != self.seen_from.to_zoned_datetime(self.zone.clone()).year();
        let pattern = if another_year { "%a %-d %b %Y %H:%M" } else { pattern };
        let text = local.strftime(pattern).to_string();
        if self.zone.to_ambiguous_timestamp(local.datetime()).is_ambiguous() {
            format!("{text} {}", local.strftime("%Z"))
        } else {
            text
        }
    }

    /// To the nearest five minutes: for what is known "about".
    #[must_use]
    pub fn about(&self, time: Timestamp) -> String {
        self.time(five_minutes(time, 150))
    }

    /// Down to five minutes: for what must be done "by" then, or happens then at the "earliest".
    #[must_use]
    pub fn by(&self, time: Timestamp) -> String {
        self.time(five_minutes(time, 0))
    }
}

/// Whole five minutes after adding `lead` seconds; zones are whole multiples of five minutes off UTC today.
fn five_minutes(time: Timestamp, lead: i64) -> Timestamp {
    let seconds = time.as_second() + lead;
    Timestamp::from_second(seconds - seconds.rem_euclid(300)).unwrap_or(time)
}

/// The fewest decimals that show every step of a scale.
fn decimals_of(step: f64) -> usize {
    (0..3)
        .find(|decimals| {
            let scaled = step * [1.0, 10.0, 100.0].get(*decimals).copied().unwrap_or(1.0);
            scaled >= 0.5 && (scaled - scaled.round()).abs() < 1e-6
        })
        .unwrap_or(2)
}

/// Nothing in a hatchery comes to so much in any unit.
pub const ABSURD: f64 = 1e9;

/// So near, the weekday goes without saying.
const OBVIOUS: SignedDuration = SignedDuration::from_hours(12);

/// So near, the weekday is enough.
const SAME_WEEK: SignedDuration = SignedDuration::from_hours(6 * 24);

/// "Tue 20 Apr".
pub(crate) fn date(date: Date) -> String {
    date.strftime("%a %-d %b").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn pounds() -> PeopleUnits {
        PeopleUnits {
            mass: Unit::Pound,
            volume: Unit::UsGallon,
            strength: Unit::PoundPer100Litres,
            flow: Unit::UsGallonPerMinute,
            temperature: Unit::Fahrenheit,
        }
    }

    #[test]
    fn quantities_are_told_in_the_units_of_the_site() {
        let (si, us) = (PeopleUnits::default(), pounds());
        for (told, expected) in [
            (volume(&si, Litres(62.4)), "62 L"),
            (volume(&si, Litres(6.24)), "6.2 L"),
            (volume(&us, Litres(175.0)), "46.2 US gal"),
            (volume(&us, Litres(400.0)), "106 US gal"),
            (volume_at_most(&us, Litres(113.0)), "29.8 US gal"),
            (volume_at_least(&us, Litres(113.0)), "29.9 US gal"),
            (bag(&us, Kilograms(22.68)), "50 lb"),
            (bag(&us, Kilograms(25.0)), "55.1 lb"),
            (
                strength_sd(&us, GramsPerLitre(18.143_694_8), GramsPerLitre(91.0)),
                "about 4.0 lb/100 L, hardly known (up to 24.1 lb/100 L)",
            ),
            (volume_at_most(&si, Litres(112.99)), "112 L"),
            (draw(&si, LitresPerHour(9.44)), "9.4 L/h"),
            (draw(&us, LitresPerHour(9.44)), "2.5 US gal/h"),
            (mass(&si, Kilograms(2.0), Kilograms(0.05)), "2.00 kg"),
            (mass(&si, Kilograms(2.0), Kilograms(0.1)), "2.0 kg"),
            (mass(&si, Kilograms(2.0), Kilograms(1.0)), "2 kg"),
            (mass(&us, Kilograms(Unit::Pound.to_base(4.5)), Kilograms(Unit::Pound.to_base(0.1))), "4.5 lb"),
            (strength(&si, GramsPerLitre(18.0)), "18.0 g/L"),
            (strength_sd(&si, GramsPerLitre(17.2), GramsPerLitre(0.94)), "17.2 ± 0.9 g/L"),
            (strength_sd(&si, GramsPerLitre(17.2), GramsPerLitre(0.0)), "17.2 g/L"),
            (flow(&si, LitresPerMinute(51.2)), "51.2 L/min"),
            (flow(&us, LitresPerMinute(51.2)), "13.5 US gal/min"),
            (slurry(LitresPerHour(12.54)), "209 mL/min"),
            (strength(&us, GramsPerLitre(18.143_694_8)), "4.0 lb/100 L"),
            (temperature(&us, Celsius(20.0)), "68.0 °F"),
            (number(-0.04, 1), "0.0"),
            (number(999_999_999.0, 0), "999999999"),
            (number(-1.7e308, 1), "-1.7e308"),
            (volume(&si, Litres(1e300)), "1.0e300 L"),
        ] {
            assert_eq!(told, expected);
        }
    }

    #[test]
    fn durations_are_short() {
        for (minutes, expected) in [
            (0, "0 min"),
            (25, "25 min"),
            (60, "1 h"),
            (285, "4 h 45 min"),
            (47 * 60, "47 h"),
            (72 * 60, "3 days"),
        ] {
            assert_eq!(duration(SignedDuration::from_mins(minutes)), expected);
        }
        assert_eq!(duration(SignedDuration::from_secs(20)), "20 s");
    }

    #[test]
    fn a_time_carries_its_day_when_that_is_not_obvious_and_its_zone_when_the_clock_shows_it_twice() {
        let zone = TimeZone::get("Europe/Helsinki").unwrap();
        for (seen_from, time, expected) in [
            ("2027-04-20T14:00:00Z", "2027-04-20T23:45:00Z", "02:45"),
            ("2027-04-20T14:00:00Z", "2027-04-21T04:30:00Z", "Wed 07:30"),
            ("2027-04-20T14:00:00Z", "2027-04-19T04:30:00Z", "Mon 07:30"),
            ("2027-04-20T14:00:00Z", "2027-04-28T04:30:00Z", "Wed 28 Apr 07:30"),
            // Clocks go back on 31 October 2027 at 04:00 EEST: 03:30 comes twice.
            ("2027-10-30T20:00:00Z", "2027-10-31T00:30:00Z", "03:30 EEST"),
            ("2027-10-30T20:00:00Z", "2027-10-31T01:30:00Z", "03:30 EET"),
            ("2027-10-30T20:00:00Z", "2027-10-31T02:30:00Z", "04:30"),
        ] {
            let clock = Clock { zone: &zone, seen_from: at(seen_from), obvious: OBVIOUS };
            assert_eq!(clock.time(at(time)), expected);
        }
    }

    #[test]
    fn times_in_one_sentence_all_carry_their_day_or_none_does() {
        let zone = TimeZone::UTC;
        let clock = Clock { zone: &zone, seen_from: at("2027-04-20T17:00:00Z"), obvious: OBVIOUS };
        let (early, late) = (at("2027-04-21T04:20:00Z"), at("2027-04-21T05:05:00Z"));
        let both = clock.together(&[Some(early), Some(late), None]);
        assert_eq!((both.time(early), both.time(late)), ("Wed 04:20".to_owned(), "Wed 05:05".to_owned()));
        assert_eq!(clock.together(&[Some(early)]).time(early), "04:20");
    }

    #[test]
    fn about_is_rounded_and_by_is_rounded_down() {
        let zone = TimeZone::UTC;
        let clock = Clock { zone: &zone, seen_from: at("2027-04-20T14:00:00Z"), obvious: OBVIOUS };
        assert_eq!(clock.about(at("2027-04-20T23:42:31Z")), "23:45");
        assert_eq!(clock.about(at("2027-04-20T23:42:29Z")), "23:40");
        assert_eq!(clock.by(at("2027-04-20T23:44:59Z")), "23:40");
    }
}
