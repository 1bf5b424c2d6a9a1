//! To whom a notice goes, and by which ways.

use claymark_notice::{Audience, Priority};
use claymark_store::batch::Channel::{Email, Mqtt};

use crate::office::{address, id, notice, settings};

#[test]
fn a_notice_goes_to_whom_it_is_for_by_each_way_that_exists() {
    let addresses = vec![
        address("ann", Some("ann@barn.example"), true),
        address("kim", Some("kim@barn.example"), false),
        address("lamp", None, true),
    ];
    let ann = Audience::one(id("ann"));
    for (mail_server, to, expected) in [
        (true, Audience::Everyone, vec![("ann", Email), ("ann", Mqtt), ("kim", Email), ("lamp", Mqtt)]),
        (true, ann.clone(), vec![("ann", Email), ("ann", Mqtt)]),
        (false, ann, vec![("ann", Mqtt)]),
        (false, Audience::Everyone, vec![("ann", Mqtt), ("lamp", Mqtt)]),
        (true, Audience::one(id("gone")), vec![]),
    ] {
        let mut settings = settings(25);
        settings.addresses.clone_from(&addresses);
        settings.smtp = settings.smtp.filter(|_| mail_server);
        let mut notice = notice(7, Priority::Now).notice;
        notice.to = to;
        let ways = settings.ways();
        let found: Vec<_> =
            ways.deliveries(&notice).map(|way| (way.contact.to_string(), way.channel)).collect();
        let expected: Vec<_> =
            expected.into_iter().map(|(name, channel)| (name.to_owned(), channel)).collect();
        assert_eq!(found, expected, "mail server: {mail_server}, to {:?}", notice.to);
    }
}
