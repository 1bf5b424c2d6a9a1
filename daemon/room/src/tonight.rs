//! Whose night it is: whoever answered the evening message, or was given it.

use jiff::Timestamp;

use crate::knowledge::Knowledge;
use crate::on_call::GivenNight;
use claymark_model::calendar::Shift;
use claymark_model::id::Id;
use claymark_notice::handover::OnTonight;

impl Knowledge {
    pub(crate) fn given(&self, now: Timestamp) -> Option<&GivenNight> {
        let Shift::Away { evening, .. } = self.shift(now) else { return None };
        self.given_night.as_ref().filter(|given| given.evening == evening)
    }

    /// Whom this night was given to.
    pub(crate) fn has_the_night(&self, now: Timestamp) -> Option<&Id> {
        self.given(now).map(|given| &given.person)
    }

    /// Who has this night, where the site asks for that, or where it was given to somebody.
    pub(crate) fn on_tonight(&self, now: Timestamp) -> Option<OnTonight> {
        let given = self.given(now);
        let asked = self.site.staff.confirm_by.is_some() && self.shift(now) != Shift::Present;
        let first = || self.on_call(now).for_danger().first().map(|contact| contact.id.clone());
        match given {
            Some(given) => Some(OnTonight { person: given.person.clone(), confirmed: given.confirmed }),
            None if asked => Some(OnTonight { person: first()?, confirmed: None }),
            None => None,
        }
    }

    /// When it is known whether somebody has said that this night is theirs.
    pub(crate) fn confirmation_due(&self, now: Timestamp) -> Option<Timestamp> {
        let Shift::Away { evening, .. } = self.shift(now) else { return None };
        self.confirm_by(evening)
    }

    /// By when whoever has the night of `evening` must have said so.
    pub(crate) fn confirm_by(&self, evening: Timestamp) -> Option<Timestamp> {
        self.site.next_time(evening, self.site.staff.confirm_by?)
    }
}
