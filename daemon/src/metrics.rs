//! Counters and gauges for a monitoring system, in OpenMetrics text.
//!
//! Each answer is made from the engine's snapshot; nothing is locked and nothing waits. Labels hold ids
//! from the site file only, so that a stranger's topics can't fill the monitoring system.

use std::fmt;
use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use prometheus_client::collector::Collector;
use prometheus_client::encoding::text::encode;
use prometheus_client::encoding::{DescriptorEncoder, EncodeMetric};
use prometheus_client::metrics::MetricType;
use prometheus_client::metrics::counter::ConstCounter;
use prometheus_client::metrics::gauge::ConstGauge;
use prometheus_client::registry::Registry;
use serde::Serialize;
use serde_json::Value;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use claymark_model::forecast::{EmptyAt, Forecast, Outlook, Subject};
use claymark_model::site::Sensor;
use claymark_model::skill::Lead;
use jiff::Timestamp;

use crate::forward::Progress;
use crate::snapshot::Snapshot;
use crate::snapshot::{Connection, DeliveryFate};

/// Where they are served.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// A loopback address.
    pub listen: SocketAddr,
}

/// What an answer is made from.
#[derive(Clone)]
pub struct MetricsSource {
    /// The engine's state.
    pub snapshot: watch::Receiver<Arc<Snapshot>>,
    /// The sensors of the site file.
    pub sensors: Arc<[Sensor]>,
    /// How forwarding goes, where something is forwarded.
    pub forwarding: Option<watch::Receiver<Progress>>,
    /// Why replies by mail can't be read, where a mailbox is read.
    pub replies: Option<watch::Receiver<Option<String>>>,
}

/// Serves `/metrics` until `stop`.
pub async fn serve(listener: TcpListener, source: MetricsSource, stop: CancellationToken) {
    let router = Router::new().route("/metrics", get(answer)).with_state(source);
    let served = axum::serve(listener, router).with_graceful_shutdown(stop.cancelled_owned()).await;
    if let Err(error) = served {
        tracing::error!("metrics are no longer served: {error}");
    }
}

async fn answer(State(source): State<MetricsSource>) -> Response {
    match text(&source) {
        Ok(text) => ([(header::CONTENT_TYPE, CONTENT_TYPE)], text).into_response(),
        Err(error) => (StatusCode::INTERNAL_SERVER_ERROR, error.to_string()).into_response(),
    }
}

/// The state in OpenMetrics text.
pub fn text(source: &MetricsSource) -> Result<String, fmt::Error> {
    let mut registry = Registry::with_prefix("claymark");
    let snapshot = Arc::clone(&source.snapshot.borrow());
    let forwarding = source.forwarding.as_ref().map(|progress| progress.borrow().clone());
    registry.register_collector(Box::new(MetricsSheet {
        snapshot,
        sensors: Arc::clone(&source.sensors),
        forwarding,
        replies_read: source.replies.as_ref().map(|trouble| trouble.borrow().is_none()),
    }));
    let mut text = String::new();
    encode(&mut text, &registry)?;
    Ok(text)
}

/// One answer in the making.
#[derive(Debug)]
struct MetricsSheet {
    snapshot: Arc<Snapshot>,
    sensors: Arc<[Sensor]>,
    forwarding: Option<Progress>,
    replies_read: Option<bool>,
}

impl Collector for MetricsSheet {
    fn encode(&self, mut encoder: DescriptorEncoder) -> fmt::Result {
        self.counters(&mut encoder)?;
        self.state(&mut encoder)?;
        self.forwarding(&mut encoder)?;
        self.readings(&mut encoder)?;
        self.forecasts(&mut encoder)?;
        self.skill(&mut encoder)
    }
}

impl MetricsSheet {
    fn counters(&self, encoder: &mut DescriptorEncoder) -> fmt::Result {
        let counts = &self.snapshot.counts;
        for (name, help, value) in [
            ("messages", "Messages that arrived", counts.messages),
            ("readings_stored", "Readings stored for the first time", counts.stored),
            ("readings_repeated", "Readings that were stored already", counts.duplicates),
            ("commits", "Commits that are on the disk", counts.commits),
            ("commits_failed", "Commits that failed and were tried again", counts.failed_commits),
            ("notices", "Notices to people", counts.notices),
            ("clock_steps", "Times that the clock was set by more than a little", counts.clock_steps),
            ("stores_replaced", "Times that another store was begun in place of one", counts.stores_replaced),
            ("sessions_lost", "Times that the broker had forgotten our session", counts.sessions_lost),
            ("messages_unrecorded", "Messages missing in the recording", counts.not_recorded),
            ("records_refused", "Records that the store can't hold, kept aside", counts.refused),
            ("notices_undelivered", "Notices given up for a contact and a way", counts.undelivered),
            ("sessions_taken_over", "Times that another client had our client id", counts.taken_over),
        ] {
            let counter = ConstCounter::new(value);
            counter.encode(encoder.encode_descriptor(name, help, None, MetricType::Counter)?)?;
        }
        let help = "Deliveries that are over, by their channel and how they ended";
        let mut family = encoder.encode_descriptor("deliveries", help, None, MetricType::Counter)?;
        for ((channel, fate), count) in &counts.deliveries {
            let fate = match fate {
                DeliveryFate::Accepted => "accepted",
                DeliveryFate::GivenUp => "given-up",
            };
            let labels = [("channel", name(*channel)), ("end", fate.to_owned())];
            ConstCounter::new(*count).encode(family.encode_family(&labels)?)?;
        }
        let help = "What couldn't be used and was kept aside";
        let mut family = encoder.encode_descriptor("quarantined", help, None, MetricType::Counter)?;
        for (reason, count) in &counts.quarantined {
            let labels = [("reason", name(*reason))];
            ConstCounter::new(*count).encode(family.encode_family(&labels)?)?;
        }
        Ok(())
    }

    fn state(&self, encoder: &mut DescriptorEncoder) -> fmt::Result {
        let snapshot = &self.snapshot;
        let (watching, refused) = match &snapshot.connection {
            Connection::Watching { refused, .. } => (1, refused.len()),
            Connection::Down { .. } => (0, 0),
        };
        let unreadable = i64::try_from(snapshot.counts.unreadable).unwrap_or(i64::MAX);
        for (name, help, value) in [
            ("watching", "1 while subscribed at the broker", watching),
            ("subscriptions_refused", "Topic filters that the broker refuses", i64_of(refused)),
            ("messages_waiting", "Messages that wait for their commit", i64_of(snapshot.waiting)),
            ("store_works", "1 unless the last commit failed", i64::from(snapshot.store_trouble.is_none())),
            ("records_unreadable", "Records of the store that couldn't be read back", unreadable),
            (
                "nobody_reached",
                "1 when the last notice reached nobody by any way",
                i64::from(snapshot.reached_nobody.is_some()),
            ),
        ] {
            let gauge = ConstGauge::new(value);
            gauge.encode(encoder.encode_descriptor(name, help, None, MetricType::Gauge)?)?;
        }
        if let Some(read) = self.replies_read {
            let help = "1 unless the mailbox of replies can't be read";
            let gauge = ConstGauge::new(i64::from(read));
            gauge.encode(encoder.encode_descriptor("replies_read", help, None, MetricType::Gauge)?)?;
        }
        Ok(())
    }

    /// The rate is the growth of `forward_points`; the lag is now minus `forward_oldest_time_seconds`.
    fn forwarding(&self, encoder: &mut DescriptorEncoder) -> fmt::Result {
        let Some(progress) = &self.forwarding else { return Ok(()) };
        for (name, help, value) in [
            ("forward_points", "Points that InfluxDB took", progress.points),
            ("forward_rejected", "Points that InfluxDB refused, kept aside", progress.rejected),
            ("forward_failures", "Attempts to forward that failed and are tried again", progress.failures),
        ] {
            let counter = ConstCounter::new(value);
            counter.encode(encoder.encode_descriptor(name, help, None, MetricType::Counter)?)?;
        }
        let missing = ConstGauge::new(i64::try_from(progress.missing).unwrap_or(i64::MAX));
        let help = "Readings that InfluxDB took and, by the last count, doesn't hold";
        missing.encode(encoder.encode_descriptor("forward_missing", help, None, MetricType::Gauge)?)?;
        let works = ConstGauge::new(i64::from(progress.trouble.is_none()));
        let help = "1 unless the last attempt to forward failed";
        works.encode(encoder.encode_descriptor("forward_works", help, None, MetricType::Gauge)?)?;
        let help = "When the oldest of what waits to be forwarded arrived; none: nothing waits";
        let oldest = progress.oldest.map(|oldest| (Vec::new(), seconds(oldest)));
        family(encoder, "forward_oldest_time_seconds", help, oldest.into_iter())
    }

    fn readings(&self, encoder: &mut DescriptorEncoder) -> fmt::Result {
        let last = |sensor: &Sensor| self.snapshot.last.get(&sensor.id).cloned();
        let known: Vec<_> = self.sensors.iter().filter_map(|sensor| Some((sensor, last(sensor)?))).collect();
        family(
            encoder,
            "sensor_value",
            "Newest reading, in the unit of its label",
            known.iter().map(|(sensor, last)| {
                let labels = vec![
                    ("sensor", sensor.id.to_string()),
                    ("place", sensor.place.to_string()),
                    ("quantity", sensor.quantity.name().to_owned()),
                    ("unit", sensor.unit.base().symbol().to_owned()),
                ];
                (labels, last.value)
            }),
        )?;
        let ids = |sensor: &Sensor| vec![("sensor", sensor.id.to_string())];
        let flags = known.iter().map(|(sensor, last)| (ids(sensor), f64::from(u8::from(last.flag))));
        family(encoder, "sensor_flag", "QARTOD flag of the newest reading: 1, 2, 3, 4 or 9", flags)?;
        let times = known.iter().map(|(sensor, last)| (ids(sensor), seconds(last.at)));
        family(encoder, "sensor_time_seconds", "When the newest reading was measured", times)
    }

    fn forecasts(&self, encoder: &mut DescriptorEncoder) -> fmt::Result {
        let forecasts = || self.snapshot.forecasts.values();
        let made = forecasts().map(|forecast| (subject(forecast), seconds(forecast.at)));
        family(encoder, "forecast_time_seconds", "When the newest forecast was made", made)?;
        let known = forecasts().map(|forecast| {
            let known = matches!(forecast.outlook, Outlook::Known { .. });
            (subject(forecast), f64::from(u8::from(known)))
        });
        family(encoder, "forecast_known", "1 unless nothing can be said", known)?;
        let volumes =
            forecasts().filter_map(|forecast| Some((subject(forecast), forecast.outlook.volume()?.0)));
        family(encoder, "forecast_volume_litres", "All slurry in the drum, heel included", volumes)?;
        let ends = |forecast: &Forecast| Some(quantiles(subject(forecast), &forecast.outlook.empty_at()?));
        let empty = forecasts().filter_map(ends).flatten();
        let help = "When it is empty, by chance of being empty before; none: later than 72 h";
        family(encoder, "forecast_empty_time_seconds", help, empty)
    }

    /// Of the last week and since.
    fn skill(&self, encoder: &mut DescriptorEncoder) -> fmt::Result {
        let leads = || self.snapshot.skill.leads().map(|(lead, skill)| (ahead(lead), skill));
        let judged = leads().map(|(lead, skill)| (lead, f64::from(skill.outer.of)));
        family(
            encoder,
            "forecast_judged",
            "Forecasts of a mark whose time has come, by how far ahead",
            judged,
        )?;
        let held = leads().flat_map(|(lead, skill)| {
            [("0.5", skill.inner), ("0.9", skill.outer)].into_iter().filter_map(
                move |(interval, coverage)| {
                    let mut labels = lead.clone();
                    labels.push(("interval", interval.to_owned()));
                    Some((labels, coverage.share()?))
                },
            )
        });
        family(encoder, "forecast_held_ratio", "Share of them that fell into the interval", held)?;
        let crps = leads().filter_map(|(lead, skill)| Some((lead, skill.crps()?.as_secs_f64())));
        family(encoder, "forecast_crps_seconds", "Mean of twice the mean pinball loss; less is better", crps)
    }
}

type Labels = Vec<(&'static str, String)>;

fn family(
    encoder: &mut DescriptorEncoder,
    name: &str,
    help: &str,
    values: impl Iterator<Item = (Labels, f64)>,
) -> fmt::Result {
    let mut family = encoder.encode_descriptor(name, help, None, MetricType::Gauge)?;
    for (labels, value) in values {
        ConstGauge::new(value).encode(family.encode_family(&labels)?)?;
    }
    Ok(())
}

fn subject(forecast: &Forecast) -> Labels {
    match &forecast.of {
        Subject::Drum(drum) => vec![("drum", drum.to_string())],
        Subject::Supply(pump) => vec![("supply", pump.to_string())],
    }
}

fn ahead(lead: Lead) -> Labels {
    vec![("lead", lead.name().to_owned())]
}

fn quantiles(labels: Labels, empty_at: &EmptyAt) -> Vec<(Labels, f64)> {
    let EmptyAt { p05, p25, p50, p75, p95 } = empty_at;
    [("0.05", p05), ("0.25", p25), ("0.5", p50), ("0.75", p75), ("0.95", p95)]
        .into_iter()
        .filter_map(|(chance, at)| {
            let mut labels = labels.clone();
            labels.push(("chance", chance.to_owned()));
            at.map(|at| (labels, seconds(at)))
        })
        .collect()
}

/// As in the store.
fn name(value: impl Serialize + fmt::Debug) -> String {
    match serde_json::to_value(&value) {
        Ok(Value::String(name)) => name,
        Ok(_) | Err(_) => format!("{value:?}"),
    }
}

fn seconds(at: Timestamp) -> f64 {
    at.as_duration().as_secs_f64()
}

fn i64_of(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

const CONTENT_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";
