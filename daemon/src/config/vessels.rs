//! `[[pump]]`, `[[drum]]`, `[[head_tank]]`, `[[tank]]`: what holds and moves water.

use toml::Spanned;
use toml::de::DeValue;

use claymark_model::id::Id;
use claymark_model::site::{ClaySupply, Draws, Drum, HeadTank, Place, Pump, Tank};
use claymark_model::strapping::{BadStrapping, StrappingTable};
use claymark_model::units::{GramsPerLitre, Litres, Millimetres};

use super::list::List;
use super::mistake::Findings;
use super::table::Table;
use super::value::{self, Wrong, wrong};
use crate::suggest::did_you_mean;

/// Everything that holds or moves water.
pub(super) struct Vessels {
    pub(super) pumps: List<Pump>,
    pub(super) drums: List<Drum>,
    pub(super) head_tank: Option<HeadTank>,
    pub(super) tanks: List<Tank>,
}

impl Vessels {
    /// Whether that place stands in the file.
    pub(super) fn holds(&self, place: &Place) -> bool {
        match place {
            Place::Drum(id) => self.drums.has(id),
            Place::Tank(id) => self.tanks.has(id),
            Place::Pump(id) => self.pumps.has(id),
            Place::Head | Place::Room => true,
        }
    }

    /// Every place, as it is written.
    pub(super) fn places(&self) -> Vec<String> {
        let drums = self.drums.words().map(|id| format!("drum:{id}"));
        let tanks = self.tanks.words().map(|id| format!("tank:{id}"));
        let pumps = self.pumps.words().map(|id| format!("pump:{id}"));
        drums.chain(tanks).chain(pumps).chain(["head".to_owned(), "room".to_owned()]).collect()
    }
}

/// Reads them all.
pub(super) fn vessels(file: &Table<'_>, clay: Option<&ClaySupply>) -> Vessels {
    let pumps = List::read(file, "pump", |table, id, name| {
        let ml_per_min_per_rpm = table.maybe("ml_per_min_per_rpm", value::positive).map(Spanned::into_inner);
        let max_rpm = table.maybe("max_rpm", value::positive).map(Spanned::into_inner);
        let min_rpm = table.maybe("min_rpm", value::positive);
        if let (Some(least), Some(most)) = (&min_rpm, max_rpm)
            && *least.get_ref() >= most
        {
            let what = format!("min_rpm: {} rpm isn't slower than max_rpm, {most} rpm", least.get_ref());
            let remedy = "Write the slowest speed that keeps slurry moving in the line, for instance 10.";
            table.findings.mistake(least.span(), what, remedy);
        }
        let min_rpm = min_rpm.map(Spanned::into_inner);
        let draws = table.or("drums", Draws::default(), value::one_of(&Draws::NAMES));
        let levels_out = table.or("levels_out", false, value::yes_or_no);
        if levels_out && draws != Draws::Together {
            let what = "levels_out: only drums that are drawn together level out through their line";
            table.findings.mistake(
                table.span(),
                what,
                "Write drums = \"together\" as well, or leave levels_out out.",
            );
        }
        Some(Pump { id, name, ml_per_min_per_rpm, max_rpm, min_rpm, draws, levels_out })
    });
    let drums = List::read(file, "drum", |table, id, name| drum(table, id, name, &pumps, clay));
    let head_tank = head_tank(file);
    let tanks = List::read(file, "tank", |table, id, name| {
        let volume = table.need("volume_l", "280", value::positive)?;
        Some(Tank { id, name, volume: Litres(volume.into_inner()) })
    });
    let kinds =
        [("pump", pumps.ids.is_empty()), ("drum", drums.ids.is_empty()), ("tank", tanks.ids.is_empty())];
    for (kind, none) in kinds {
        if none && file.key_span(kind).is_none() {
            let remedy = format!("Describe each {kind} under a [[{kind}]] of its own.");
            file.lacks(kind, format!("there is no [[{kind}]]"), remedy);
        }
    }
    for id in &pumps.ids {
        let drawn = drums.things.iter().any(|drum| drum.pump == *id.get_ref());
        if !drawn && drums.things.len() == drums.ids.len() {
            let what = format!("pump '{}' draws from no drum", id.get_ref());
            file.findings.warning(
                id.span(),
                what,
                "If it draws from one, name it there: pump = \"…\" under the [[drum]].",
            );
        }
    }
    Vessels { pumps, drums, head_tank, tanks }
}

fn drum(
    table: &Table<'_>,
    id: Id,
    name: String,
    pumps: &List<Pump>,
    clay: Option<&ClaySupply>,
) -> Option<Drum> {
    let pump = table.need("pump", "the id of the pump that draws from it", value::id);
    if let Some(pump) = pump.as_ref().filter(|pump| !pumps.has(pump.get_ref())) {
        let what = format!("pump: there is no pump '{}'", pump.get_ref());
        let known: Vec<&str> = pumps.words().collect();
        let hint = did_you_mean(pump.get_ref().as_str(), known.iter().copied());
        let remedy = format!(
            "{hint}Write the id of a [[pump]] of this file ({}), or add that pump.",
            known.join(", ")
        );
        table.findings.mistake(pump.span(), what, remedy);
    }
    let full = table.need("full_l", "the litres at the full line", value::positive);
    let heel = table.need("heel_l", "the litres that the pump can't lift", value::not_negative);
    let strapping = strapping(table);
    volumes_fit(table.findings, full.as_ref(), heel.as_ref(), strapping.as_ref());
    let wanted = "the strength wanted, grams of clay in a litre of finished slurry";
    let target = table.need("target_g_per_l", wanted, value::positive);
    if let (Some(target), Some(clay)) = (&target, clay)
        && *target.get_ref() > clay.thickest.0
    {
        let (grams, thickest) = (target.get_ref(), clay.thickest.0);
        let what = format!("target_g_per_l: {grams} g/L is thicker than [clay] thickest, {thickest:.0} g/L");
        table.findings.mistake(
            target.span(),
            what,
            "Mend the target, or thickest if the pump can lift more.",
        );
    }
    Some(Drum {
        id,
        name,
        pump: pump?.into_inner(),
        full: Litres(full?.into_inner()),
        heel: Litres(heel?.into_inner()),
        strapping: strapping?,
        target: GramsPerLitre(target?.into_inner()),
    })
}

/// Heel below full, full within the table.
fn volumes_fit(
    findings: &Findings,
    full: Option<&Spanned<f64>>,
    heel: Option<&Spanned<f64>>,
    strapping: Option<&StrappingTable>,
) {
    let Some(full) = full else { return };
    let litres = full.get_ref();
    if let Some(heel) = heel.filter(|heel| heel.get_ref() >= litres) {
        let what = format!("heel_l: a heel of {} L leaves nothing of {litres} L to pump", heel.get_ref());
        findings.mistake(
            heel.span(),
            what,
            "The heel is what the pump can't lift; it must be less than full_l.",
        );
    }
    if let Some(table) = strapping.filter(|table| *litres > table.brim().0) {
        let brim = table.brim().0;
        let what = format!("full_l: {litres} L is above the drum's table, which ends at {brim:.0} L");
        findings.mistake(full.span(), what, "Add rows up to the brim, or mend full_l.");
    }
}

fn head_tank(file: &Table<'_>) -> Option<HeadTank> {
    let found = List::read(file, "head_tank", |table, id, name| {
        let volume = table.need("volume_l", "450", value::positive)?;
        Some(HeadTank { id, name, volume: Litres(volume.into_inner()) })
    });
    if let Some(second) = found.ids.get(1) {
        let what = "there is more than one [[head_tank]]";
        file.findings.mistake(
            second.span(),
            what,
            "Claymark watches one room with one head tank: keep one of them.",
        );
    }
    if file.key_span("head_tank").is_none() {
        let remedy = "Add [[head_tank]] with its id and volume_l.";
        file.lacks("head_tank", "there is no [[head_tank]]", remedy);
    }
    found.things.into_iter().next()
}

/// From rows or from a shape, whichever is given.
fn strapping(table: &Table<'_>) -> Option<StrappingTable> {
    let rows = table.raw("strapping_mm_l");
    let shape = table.table("shape");
    match (rows, shape) {
        (Some(rows), None) => strapping_rows(table, rows),
        (None, Some(shape)) => shape_table(shape),
        (Some(_), Some(shape)) => {
            let remedy = "Keep strapping_mm_l, which was measured, and take shape out.";
            table.findings.mistake(shape.span(), "the drum has both strapping_mm_l and shape", remedy);
            None
        }
        (None, None) => {
            let remedy = "Add strapping_mm_l = [[0, 0], [100, 24], …], level against litres, or a shape.";
            table.lacks("strapping_mm_l", "the drum has neither strapping_mm_l nor shape", remedy);
            None
        }
    }
}

fn strapping_rows(table: &Table<'_>, value: &Spanned<DeValue<'_>>) -> Option<StrappingTable> {
    let remedy = "Write rows of [millimetres, litres], the lowest first, each higher than the one before.";
    let DeValue::Array(list) = value.get_ref() else {
        table.findings.mistake(value.span(), "strapping_mm_l: a list of rows is wanted", remedy);
        return None;
    };
    let mut rows = Vec::new();
    for row in list {
        match value::pair(row.get_ref()) {
            Ok((mm, litres)) => rows.push((Millimetres(mm), Litres(litres))),
            Err(wrong) => {
                table.findings.mistake(row.span(), format!("strapping_mm_l: {}", wrong.what), remedy)
            }
        }
    }
    if rows.len() < list.len() {
        return None;
    }
    StrappingTable::new(rows)
        .map_err(|bad| {
            let at = match bad {
                BadStrapping::TooShort(_) => None,
                BadStrapping::NotUsable(row) | BadStrapping::NotRising(row) => list.get(row - 1),
            };
            table.findings.mistake(
                at.map_or(value.span(), Spanned::span),
                format!("strapping_mm_l: {bad}"),
                remedy,
            );
        })
        .ok()
}

/// `upright`, `lying` or `frustum` with its measures.
fn shape_table(shape: Table<'_>) -> Option<StrappingTable> {
    let upright = shape.maybe("upright", |v| measures(v, ["diameter_mm", "height_mm"]));
    let lying = shape.maybe("lying", |v| measures(v, ["diameter_mm", "length_mm"]));
    let frustum = shape.maybe("frustum", |v| measures(v, ["bottom_mm", "top_mm", "height_mm"]));
    let given = ["upright", "lying", "frustum"].iter().filter(|key| shape.key_span(key).is_some()).count();
    let built = match (upright, lying, frustum) {
        (Some(measures), None, None) => {
            let [diameter, height] = measures.into_inner();
            StrappingTable::upright_cylinder(diameter, height).ok()
        }
        (None, Some(measures), None) => {
            let [diameter, length] = measures.into_inner();
            StrappingTable::lying_cylinder(diameter, length).ok()
        }
        (None, None, Some(measures)) => {
            let [bottom, top, height] = measures.into_inner();
            StrappingTable::frustum(bottom, top, height).ok()
        }
        _ => None,
    };
    if given != 1 {
        let remedy = "Write one, for instance shape = { upright = { diameter_mm = 571, height_mm = 850 } }.";
        shape.findings.mistake(shape.span(), "shape: one of upright, lying and frustum is wanted", remedy);
    }
    shape.finish();
    built
}

/// Exactly these measures, all above zero.
fn measures<const N: usize>(value: &DeValue<'_>, keys: [&'static str; N]) -> Result<[Millimetres; N], Wrong> {
    let remedy = || {
        format!(
            "Write {{ {} }}, inside measures in millimetres.",
            keys.map(|key| format!("{key} = …")).join(", ")
        )
    };
    let DeValue::Table(entries) = value else { return wrong("the measures are missing", remedy()) };
    if let Some((stranger, _)) = entries.iter().find(|(key, _)| !keys.contains(&key.get_ref().as_ref())) {
        return wrong(format!("'{}' isn't one of its measures", stranger.get_ref()), remedy());
    }
    let mut found = [Millimetres(0.0); N];
    for (key, slot) in keys.iter().zip(&mut found) {
        let Some(measure) = entries.get(*key) else { return wrong(format!("{key} is missing"), remedy()) };
        *slot = Millimetres(value::positive(measure.get_ref())?);
    }
    Ok(found)
}
