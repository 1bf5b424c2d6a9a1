//! One thing that the data show of a failure.

use serde::{Deserialize, Serialize};

use super::Limited;
use claymark_clay::Yield;
use claymark_model::id::Id;
use claymark_model::site::Place;
use claymark_model::units::{Litres, LitresPerHour};

/// One thing that the data show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "sign", rename_all = "kebab-case")]
pub enum Sign {
    /// The drum's draw changed.
    DrawChanged {
        /// Before.
        from: LitresPerHour,
        /// Since.
        to: LitresPerHour,
    },
    /// The drum's draw is what it was.
    DrawUnchanged {
        /// Which, where several feed the head tank.
        #[serde(default)]
        drum: Option<Id>,
        /// So much.
        draw: LitresPerHour,
    },
    /// A turbidity goes elsewhere.
    Turbidity {
        /// Where.
        place: Place,
        /// Before.
        from: f64,
        /// Now.
        now: f64,
        /// Where it goes.
        towards: f64,
        /// The time constant of that, minutes.
        pace_min: f64,
    },
    /// A turbidity is what it was.
    TurbiditySteady {
        /// Where.
        place: Place,
        /// So much.
        at: f64,
    },
    /// Oxygen falls.
    OxygenFalls {
        /// Where.
        place: Place,
        /// Before, mg/L.
        from: f64,
        /// Now, mg/L.
        now: f64,
    },
    /// Oxygen is too low and doesn't fall.
    OxygenLow {
        /// Where.
        place: Place,
        /// mg/L.
        now: f64,
    },
    /// The level doesn't fall any more.
    LevelStands,
    /// The level rose.
    LevelRose {
        /// By so much.
        added: Litres,
        /// To this.
        to: Litres,
    },
    /// The pump's contact.
    Turns {
        /// Whether it says that the pump turns.
        turns: bool,
    },
    /// An air meter shows less.
    AirFlow {
        /// Where.
        place: Place,
        /// Before, L/min.
        from: f64,
        /// Now, L/min.
        now: f64,
    },
    /// A turbidity comes up again after a fill.
    TurbidityRises {
        /// Where.
        place: Place,
        /// At its lowest.
        from: f64,
        /// Now.
        now: f64,
        /// What the books would give.
        wanted: f64,
    },
    /// One probe climbs.
    Climbs {
        /// Where.
        place: Place,
        /// Hours ago.
        from: f64,
        /// Now.
        now: f64,
    },
    /// Water clears by and by.
    Clears {
        /// Where.
        place: Place,
        /// So many hours ago.
        from: f64,
        /// Now.
        now: f64,
        /// Over so many hours.
        hours: f64,
    },
    /// One probe fell to nothing sooner than its water is exchanged.
    FellAtOnce {
        /// Where.
        place: Place,
        /// Before.
        from: f64,
        /// Now.
        now: f64,
    },
    /// The other probes don't.
    SiblingsSteady {
        /// How many.
        probes: u32,
        /// By how much the middle one of them rose.
        by: f64,
    },
    /// Readings reach up in spikes.
    Spikes {
        /// Where.
        place: Place,
        /// So far above their middle.
        up: f64,
        /// Usually so far.
        usual: f64,
    },
    /// Water is outside its limits.
    Outside {
        /// Where.
        place: Place,
        /// What of the water.
        of: Limited,
        /// In the sensor's NTU or FNU, °C, or % of saturation.
        is: f64,
    },
    /// Water warms.
    Warms {
        /// Where.
        place: Place,
        /// Before, °C.
        from: f64,
        /// Now, °C.
        now: f64,
    },
    /// Water cools.
    Cools {
        /// Where.
        place: Place,
        /// Before, °C.
        from: f64,
        /// Now, °C.
        now: f64,
    },
    /// Sensors that run from the mains fell silent together.
    Vanished {
        /// So many.
        mains: u32,
    },
    /// Sensors that run from batteries speak on.
    GoOn {
        /// So many.
        batteries: u32,
    },
    /// The same signs fit another pump or drum.
    FitsToo {
        /// Which.
        place: Place,
    },
    /// Another drum falls instead.
    OtherFalls {
        /// Which.
        drum: Id,
        /// As fast as the first one did.
        draw: LitresPerHour,
    },
    /// Draw and clay decline together.
    Declines {
        /// Share a day.
        draw_per_day: f64,
        /// Share a day.
        clay_per_day: f64,
    },
    /// A catch at the pump is below its dial.
    Catch {
        /// Caught.
        caught: LitresPerHour,
        /// By the rating at the speed that was written down.
        rated: LitresPerHour,
    },
    /// The clay of this feed clouds the water otherwise.
    Yield {
        /// Before.
        from: Yield,
        /// Since.
        to: Yield,
    },
    /// A flow changed.
    Flow {
        /// Where.
        place: Place,
        /// Before, L/min.
        from: f64,
        /// Now, L/min.
        now: f64,
    },
}
