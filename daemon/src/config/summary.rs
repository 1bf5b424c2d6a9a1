//! What a site file describes, for the person who wrote it.

use std::fmt::{self, Write as _};

use claymark_model::plan::Batch;
use claymark_model::site::{Draws, Drum, Place, Pump, Quantity, Senses, Site};
use claymark_model::units::{Celsius, Litres};
use claymark_words::format;

use super::count;
use super::roster;
use crate::notify::Address;
use crate::run::Settings;

/// The room in a page of plain text: drums, sensors by place, limits, who is told and when.
#[must_use]
pub fn describe(settings: &Settings) -> String {
    let mut out = String::new();
    write(&mut out, settings).expect("a String takes all that is written to it");
    out
}

fn write(out: &mut String, settings: &Settings) -> fmt::Result {
    let site = &settings.site;
    let zone = site.time_zone.iana_name().unwrap_or("UTC");
    writeln!(out, "{} ({}), clocks of {zone}, {:.0} m above the sea", site.name, site.id, site.elevation_m)?;
    writeln!(out, "\nDrums")?;
    for drum in &site.drums {
        writeln!(out, "  {}", drum_line(site, drum))?;
    }
    for pump in &site.pumps {
        shared_pump(out, site, pump)?;
    }
    let tanks = Litres(site.tanks.iter().map(|tank| tank.volume.0).sum());
    writeln!(
        out,
        "\n{} of {}, {} of {} in all",
        site.head_tank.name,
        format::volume(&site.units, site.head_tank.volume),
        count(site.tanks.len(), "rearing tank"),
        format::volume(&site.units, tanks),
    )?;
    sensors(out, site)?;
    limits(out, site)?;
    for batch in &site.batches {
        writeln!(out, "{}", batch_line(site, batch))?;
    }
    checks_and_stock(out, site)?;
    people(out, settings)?;
    writeln!(out, "\nReadings are kept in {}", settings.store.display())?;
    if let Some(record) = &settings.record {
        writeln!(
            out,
            "Messages are recorded in {} for {}",
            record.dir.display(),
            count(record.keep_days, "day")
        )?;
    }
    if let Some(forward) = &settings.forward {
        let (influx, lag) = (&forward.influx, format::duration(forward.lag_limit));
        writeln!(
            out,
            "All that is kept also goes to InfluxDB at {}, bucket {}; people hear of a lag of {lag}",
            influx.server, influx.bucket
        )?;
    }
    if let Some(outside) = &settings.sign_of_life {
        writeln!(out, "A sign of life goes to {} each minute", outside.address.host())?;
    }
    if let Some(page) = &settings.page {
        writeln!(out, "The page is served on http://{}/, at this machine alone", page.listen)?;
    }
    if let Some(metrics) = &settings.metrics {
        writeln!(out, "Metrics are served on http://{}/metrics", metrics.listen)?;
    }
    Ok(())
}

fn shared_pump(out: &mut String, site: &Site, pump: &Pump) -> fmt::Result {
    let drums: Vec<&str> = site.drums_of(&pump.id).map(|drum| drum.id.as_str()).collect();
    let how = match pump.draws {
        Draws::One => "one after the other",
        Draws::Together => "all at once",
    };
    match drums.as_slice() {
        [] | [_] => Ok(()),
        [rest @ .., last] => {
            writeln!(out, "  Pump {} draws from drums {} and {last}, {how}", pump.id, rest.join(", "))
        }
    }
}

fn drum_line(site: &Site, drum: &Drum) -> String {
    let units = &site.units;
    let level = site.level_sensor(&drum.id).map_or_else(
        || "no level sensor".to_owned(),
        |sensor| {
            let by = if sensor.senses == Senses::Pressure { " by pressure" } else { "" };
            let every = format::duration(sensor.every);
            format!("{}{by} from {} every {every}", sensor.quantity.name(), sensor.id)
        },
    );
    format!(
        "{} ({}): {} at the full line, {} heel, pump {}, {} wanted, {level}",
        drum.name,
        drum.id,
        format::volume(units, drum.full),
        format::volume(units, drum.heel),
        drum.pump,
        format::strength(units, drum.target),
    )
}

fn sensors(out: &mut String, site: &Site) -> fmt::Result {
    writeln!(out, "\n{}", count(site.sensors.len(), "sensor"))?;
    let mut by_place: Vec<(&Place, Vec<String>)> = Vec::new();
    for sensor in &site.sensors {
        let words = format!("{} in {}", sensor.quantity.name().replace('_', " "), sensor.unit);
        match by_place.iter_mut().find(|(place, _)| *place == &sensor.place) {
            Some((_, known)) => known.push(words),
            None => by_place.push((&sensor.place, vec![words])),
        }
    }
    let mut same: Vec<(Vec<&Place>, Vec<String>)> = Vec::new();
    for (place, what) in by_place {
        match same.iter_mut().find(|(_, known)| *known == what) {
            Some((places, _)) => places.push(place),
            None => same.push((vec![place], what)),
        }
    }
    for (places, what) in same {
        let places: Vec<String> = places.iter().map(ToString::to_string).collect();
        writeln!(out, "  {}: {}", places.join(" "), what.join(", "))?;
    }
    Ok(())
}

fn limits(out: &mut String, site: &Site) -> fmt::Result {
    let water = &site.water;
    let turbidity = site
        .sensors
        .iter()
        .find(|sensor| sensor.quantity == Quantity::Turbidity)
        .map_or("", |sensor| sensor.unit.symbol());
    writeln!(
        out,
        "\nThe fish want {} to {} {turbidity}, {} to {}, and at least {} mg/L of oxygen",
        water.turbidity.min(),
        water.turbidity.max(),
        format::temperature(&site.units, Celsius(water.temperature_c.min())),
        format::temperature(&site.units, Celsius(water.temperature_c.max())),
        water.oxygen_min_mg_l,
    )
}

fn batch_line(site: &Site, batch: &Batch) -> String {
    let tanks = count(batch.tanks.len(), "tank");
    let ended = batch.ended.map_or_else(String::new, |ended| format!(", gone on {ended}"));
    let band = |day| batch.plan.band(day).map(|band| format!("{} to {}", band.min(), band.max()));
    let last = batch.plan.last_day();
    let bands = match (band(batch.day_at_stocking), band(last)) {
        (Some(first), Some(end)) if first != end => format!(", turbidity {first}, on fish day {last} {end}"),
        (Some(first), _) => format!(", turbidity {first}"),
        (None, _) => ", turbidity as above".to_owned(),
    };
    let flow = batch.tanks.first().and_then(|tank| site.tank_flow_on(tank, batch.stocked));
    let flow = flow.map_or_else(String::new, |flow| format!(", {:.1} L/min a tank at first", flow.0));
    format!(
        "Batch {} ({}): {tanks}, stocked {} at {} days post hatch{ended}{bands}{flow}",
        batch.name, batch.id, batch.stocked, batch.dph_at_stocking
    )
}

fn checks_and_stock(out: &mut String, site: &Site) -> fmt::Result {
    for check in &site.hand_checks {
        let every = format::duration(check.every);
        writeln!(out, "Checked by hand: {} at {} every {every}", check.what.name(), check.place)?;
    }
    if let Some(stock) = &site.stock {
        writeln!(
            out,
            "Clay: {} bags on {}, delivered {:.0} days after the order, {} bags on a pallet, room for {}",
            stock.counted_bags, stock.counted_on, stock.delivery_days, stock.pallet_bags, stock.floor_bags,
        )?;
    }
    Ok(())
}

fn people(out: &mut String, settings: &Settings) -> fmt::Result {
    let staff = &settings.site.staff;
    writeln!(
        out,
        "\nEvening check at {}, next visit at {}; a drum must last {} longer",
        staff.evening_check.strftime("%H:%M"),
        staff.next_visit.strftime("%H:%M"),
        format::duration(staff.margin),
    )?;
    writeln!(
        out,
        "A warning leaves {} for response, {} for the way and {} for mixing",
        format::duration(staff.response),
        format::duration(staff.travel),
        format::duration(staff.mixing),
    )?;
    if let Some(replies) = &settings.replies {
        writeln!(out, "A mail is answered by a reply, read in {} at {}", replies.folder, replies.host)?;
    }
    for (number, address) in settings.notify.addresses.iter().enumerate() {
        let order = if number == 0 { "First told" } else { "Then" };
        writeln!(out, "{order}: {}", address_line(settings, address))?;
    }
    for line in roster::described(&settings.site) {
        writeln!(out, "{line}")?;
    }
    Ok(())
}

fn address_line(settings: &Settings, address: &Address) -> String {
    let mqtt = address.mqtt.then(|| format!("MQTT {}/notice/{}", settings.notify.prefix, address.contact));
    let webhook = address.webhook.as_ref().map(|webhook| format!("webhook at {}", webhook.address.host()));
    let command = address.command.as_ref().map(|command| {
        let short = if command.short { " in short form" } else { "" };
        format!("{}{short}", command.program.display())
    });
    let ways: Vec<String> = address.email.iter().cloned().chain(mqtt).chain(webhook).chain(command).collect();
    let alone = if address.only_by_mqtt() { "; nothing gets there while the broker is down" } else { "" };
    format!("{} ({}) by {}{alone}", address.name, address.contact, ways.join(" and "))
}
