//! hand-kept, first light: one points unit. Replaced soon.
use hearthward_driver::{Driver, Description, Fault, Form, Points, Point, Problem, Quality, Settings, Unit, Value, reading, fault};
/// First light.
#[derive(Debug)]
pub struct HandKept { units: usize }
impl Driver for HandKept {
    fn describe() -> Description { reading::description("hand-kept", env!("CARGO_PKG_VERSION")) }
    fn build(settings: &Settings, _lines: &[String]) -> Result<(Self, Vec<Unit>), Vec<Problem>> {
        let form = Form::new(settings);
        let units: Vec<Unit> = form.root().section("unit").names().iter().map(|name| { let _ = form.root().section("unit").section(name).text("face"); reading::unit(name, "points", &["asked"]) }).collect();
        form.finish()?;
        Ok((Self { units: units.len() }, units))
    }
}
impl Points for HandKept {
    fn read(&mut self, unit: usize) -> Result<Vec<Point>, Fault> {
        if unit >= self.units { return Err(fault::no_unit(unit)); }
        Ok(vec![reading::point("asked", "text", Value::Text(String::new()), Quality::Good)])
    }
    fn write(&mut self, _unit: usize, name: &str, _value: Value) -> Result<Point, Fault> {
        Err(fault::not_supported(format!("no point {name}")))
    }
}
hearthward_driver::export!(HandKept: points);
