//! Whole entries and answers, of fields from their edges, and then maltreated as a whole.

use proptest::collection::vec;
use proptest::prelude::{Just, Strategy, prop_oneof};
use proptest::sample::select;
use proptest::strategy::BoxedStrategy;

use super::MessageFate;
use super::field::{self, Worth, WrittenValue};
use EntryField::{Figure, Id, Text};

/// A message that hasn't got its mark yet.
#[derive(Debug, Clone)]
pub(super) struct UnmarkedMessage {
    pub(super) topic: &'static str,
    pub(super) payload: Vec<u8>,
    pub(super) fate: MessageFate,
}

/// Any of them: three entries to an answer.
pub(super) fn message() -> BoxedStrategy<UnmarkedMessage> {
    let whole = prop_oneof![3 => entry(), 1 => answer()];
    let maltreated = (whole.clone(), maltreatment()).prop_map(|(drawn, how)| how.done_to(drawn));
    prop_oneof![9 => whole, 1 => maltreated].boxed()
}

fn entry() -> impl Strategy<Value = UnmarkedMessage> + Clone {
    let frame = (select(KINDS), field::marked_text(), field::time(), vec(0..4_u8, 3));
    frame.prop_flat_map(|(kind, key, at, leave_out)| {
        let fields: Vec<_> = kind.fields.iter().map(EntryField::values).collect();
        (fields, field::text("Aino"), more()).prop_map(move |(values, by, more)| {
            let mut members = vec![("key", key.clone()), ("kind", kind_value(kind)), ("at", at.clone())];
            let given = kind.fields.iter().zip(values).zip(&leave_out).filter(|(_, out)| **out > 0);
            members.extend(given.map(|((field, value), _)| (field.name(), value)));
            members.push(("by", by));
            members.extend(more);
            object("log", &members)
        })
    })
}

fn answer() -> impl Strategy<Value = UnmarkedMessage> + Clone {
    (field::marked_text(), field::notice(), more()).prop_map(|(by, notice, more)| {
        let mut members = vec![("by", by), ("notice", notice)];
        members.extend(more);
        object("answer", &members)
    })
}

/// A kind of entry and its fields.
#[derive(Debug, Clone, Copy)]
struct EntryForm {
    name: &'static str,
    worth: Worth,
    fields: &'static [EntryField],
}

/// The name of a field, and what is good there.
#[derive(Debug, Clone, Copy)]
enum EntryField {
    Figure(&'static str, &'static str),
    Text(&'static str, &'static str),
    Id(&'static str, &'static str),
}

impl EntryField {
    fn name(&self) -> &'static str {
        match self {
            Self::Figure(name, _) | Self::Text(name, _) | Self::Id(name, _) => name,
        }
    }

    fn values(&self) -> BoxedStrategy<WrittenValue> {
        match self {
            Self::Figure(_, good) => field::figure(good),
            Self::Text(_, good) => field::text(good),
            Self::Id(_, good) => field::id(good),
        }
    }
}

fn kind_value(kind: EntryForm) -> WrittenValue {
    field::value(&format!("\"{}\"", kind.name), kind.worth)
}

fn object(topic: &'static str, members: &[(&str, WrittenValue)]) -> UnmarkedMessage {
    let member = |(name, value): &(&str, WrittenValue)| format!("\"{name}\":{}", value.json);
    let text = format!("{{{}}}", members.iter().map(member).collect::<Vec<_>>().join(","));
    let worst = members.iter().map(|(_, value)| value.worth).max();
    let fate = match worst {
        _ if text.len() > LARGEST => MessageFate::PutAside,
        Some(Worth::Bad) => MessageFate::PutAside,
        Some(Worth::Unsure) => MessageFate::Either,
        Some(Worth::Good) | None => MessageFate::Taken,
    };
    UnmarkedMessage { topic, payload: text.into_bytes(), fate }
}

/// Keys that mean nothing, or stand there twice.
fn more() -> BoxedStrategy<Option<(&'static str, WrittenValue)>> {
    let unsure = |json: &str| field::value(json, Worth::Unsure);
    prop_oneof![
        60 => Just(None),
        1 => Just(Some(("colour", unsure("\"grey\"")))),
        1 => Just(Some(("", unsure("null")))),
        1 => Just(Some(("replaces", unsure("\"nothing\"")))),
        1 => Just(Some(("id", unsure("\"1\"")))),
        1 => (60_000..70_000_usize).prop_map(|length| Some(("text", large(length)))),
    ]
    .boxed()
}

/// Around the 64 KiB that are read of a payload. Which kinds have a text is left open.
fn large(length: usize) -> WrittenValue {
    field::value(&format!("\"{}\"", "x".repeat(length)), Worth::Unsure)
}

/// What is done to a whole message; nothing good comes of it.
#[derive(Debug, Clone, Copy)]
enum Maltreatment {
    CutShort,
    TwoAtOnce,
    InAnArray,
    ByteOrderMark,
    NotUtf8,
    Utf16,
}

fn maltreatment() -> impl Strategy<Value = Maltreatment> {
    use Maltreatment::{ByteOrderMark, CutShort, InAnArray, NotUtf8, TwoAtOnce, Utf16};
    select(vec![CutShort, TwoAtOnce, InAnArray, ByteOrderMark, NotUtf8, Utf16])
}

impl Maltreatment {
    fn done_to(self, drawn: UnmarkedMessage) -> UnmarkedMessage {
        let UnmarkedMessage { topic, payload, .. } = drawn;
        let payload = match self {
            Self::CutShort => payload.get(..payload.len() - 1).unwrap_or_default().to_vec(),
            Self::TwoAtOnce => [payload.as_slice(), b"{}"].concat(),
            Self::InAnArray => [b"[", payload.as_slice(), b"]"].concat(),
            Self::ByteOrderMark => [b"\xef\xbb\xbf", payload.as_slice()].concat(),
            Self::NotUtf8 => [payload.as_slice(), b"\xff"].concat(),
            // Only its beginning: the mark must be found again.
            Self::Utf16 => [b"\xff\xfe{\0", payload.as_slice()].concat(),
        };
        UnmarkedMessage { topic, payload, fate: MessageFate::PutAside }
    }
}

const fn kind(name: &'static str, fields: &'static [EntryField]) -> EntryForm {
    EntryForm { name, worth: Worth::Good, fields }
}

const fn no_kind(name: &'static str) -> EntryForm {
    EntryForm { name, worth: Worth::Bad, fields: &[Id("drum", "a"), Text("text", "fed")] }
}

const KINDS: &[EntryForm] = &[
    kind("refill", &[Id("drum", "a"), Figure("water_l", "50"), Figure("clay_kg", "0.9")]),
    kind("pump_setting", &[Id("pump", "p1"), Figure("rpm", "40")]),
    kind("in_use", &[Id("pump", "p1"), Id("drum", "a")]),
    kind("flow_check", &[Id("place", "pump:p1"), Figure("volume_ml", "500"), Figure("seconds", "360")]),
    kind("grab_sample", &[Id("place", "tank:t1"), Text("quantity", "turbidity"), Figure("value", "65")]),
    kind("cleaning", &[Id("place", "tank:t1"), Figure("minutes", "12")]),
    kind("dip", &[Id("drum", "a"), Figure("level_mm", "400"), Figure("volume_l", "96")]),
    kind("wipe", &[Id("sensor", "drum-a-level")]),
    kind("tube_change", &[Id("pump", "p1")]),
    kind("clog_cleared", &[Id("pump", "p1")]),
    kind("delivery", &[Figure("bags", "4"), Figure("kg", "100"), Text("lot", "0815")]),
    kind("fish", &[Id("place", "tank:t1"), Text("what", "counted"), Figure("number", "2000")]),
    kind("tonight", &[Id("person", "duty")]),
    kind("note", &[Text("text", "fed well")]),
    no_kind("dance"),
    no_kind("Refill"),
    no_kind(""),
];

/// Of a payload, bytes; more is put aside unread.
const LARGEST: usize = 64 * 1024;
