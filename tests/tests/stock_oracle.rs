//! Ordering clay against a reference library, asked live: economic quantity, its cost, reorder point, safety stock.

use claymark_clay::stock::order::{economic_quantity, safety_stock, yearly_cost};
use claymark_tests::oracle;
use rand::rngs::StdRng;
use rand::{RngExt as _, SeedableRng as _};
use serde_json::{Value, json};

#[test]
fn order_quantity_reorder_point_and_safety_stock_agree_with_stockpyl() {
    let mut rng = StdRng::seed_from_u64(20_270_419);
    let orders: Vec<[f64; 3]> = (0..200)
        .map(|_| [rng.random_range(10.0..900.0), rng.random_range(0.5..40.0), rng.random_range(5.0..4000.0)])
        .collect();
    // Costs of keeping and of running out stand for the service p/(p + h); demand and lead time are a barn's.
    let reorder: Vec<[f64; 6]> = (0..200)
        .map(|_| {
            [
                rng.random_range(0.5..5.0),
                rng.random_range(5.0..90.0),
                rng.random_range(10.0..900.0),
                rng.random_range(0.2..8.0),
                rng.random_range(0.01..2.0),
                rng.random_range(1.0..40.0),
            ]
        })
        .collect();
    let late: Vec<f64> = (0..200).map(|_| rng.random_range(0.0..9.0)).collect();
    // Demand while a delivery is on its way that is late itself: one normal with L σ² + d² σL².
    let spread = reorder.iter().zip(&late).map(|([h, p, _, d, sd, lead], late)| {
        json!([h, p, d * lead, (lead * sd * sd + d * d * late * late).sqrt()])
    });
    let question = json!({"eoq": orders, "reorder": reorder, "spread": spread.collect::<Vec<_>>()});
    let answer = oracle::ask("stock.py", &question);

    let close = |ours: f64, theirs: &Value| {
        let theirs = theirs.as_f64().expect("a number");
        assert!((ours - theirs).abs() < 1e-6 * theirs.abs().max(1.0), "{ours} is not {theirs}");
    };
    for (place, [freight, holding, demand]) in orders.into_iter().enumerate() {
        let quantity = economic_quantity(demand, freight, holding);
        close(quantity, &answer["eoq"][place][0]);
        close(yearly_cost(quantity, demand, freight, holding), &answer["eoq"][place][1]);
    }
    for (place, ([h, p, freight, d, sd, lead], late)) in reorder.into_iter().zip(late).enumerate() {
        let service = p / (p + h);
        close(d * lead + safety_stock(d, sd, lead, 0.0, service), &answer["reorder"][place][0]);
        close(economic_quantity(d, freight, h), &answer["reorder"][place][1]);
        close(d * lead + safety_stock(d, sd, lead, late, service), &answer["spread"][place]);
    }
}
