//! Goal: what the planner writes as a recipe is taken by the shop as it stands. Method: the example shop with such recipes in its
//! drop-in folder, checked by the installed program; and one whose tank is not there, so that it is really the drop-in that is read.

use std::path::Path;
use std::process::Output;

use hearthward_tests::daemon::{command, run_within};
use hearthward_tests::place;
use hearthward_tests::talk::SOON;

fn planned(arguments: &[&str]) -> String {
    let output = run_within(command().args(["plan", "cycle"]).args(arguments), SOON);
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text")
}

fn check(folder: &Path) -> Output {
    let shop = folder.join("shop.toml");
    run_within(command().args(["check", "--config"]).arg(shop).arg("--drivers").arg(place::guests()), SOON)
}

#[test]
fn a_planned_recipe_is_taken_from_a_drop_in() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::copy(place::root().join("deploy/example/shop.toml"), folder.path().join("shop.toml")).expect("copied");
    let drop_in = folder.path().join("shop.d");
    std::fs::create_dir(&drop_in).expect("a folder");
    let keep = |name: &str, recipe: &str| std::fs::write(drop_in.join(format!("{name}.toml")), recipe).expect("written");
    // Oil, plates, air; gas, foil, nothing; on a ramp and without; with values of the shop's own.
    let whole = [
        ["--steel", "L6", "--section", "3 mm", "--as-recipe", "irons", "--chamber", "9.4 L", "--flow", "8 L/min"],
        ["--ramp", "6 K/min", "--power", "2.2 kW", "--holding", "0.7 kW", "--falls", "5 K/min", "--in-air", "2 s"],
        ["--bath", "12 L", "--bath-temperature", "48 C", "--part-mass", "0.2 kg", "--heat", "805 C", "--preheat", "600 C"],
        ["--soak", "12 min", "--temper", "400 F for 2 h", "--temper", "190 C", "--temper", "190 C for 90 min", "--parts", "2"],
    ];
    keep("irons", &planned(&whole.concat()));
    keep("pins", &planned(&["--steel", "A2", "--section", "12 mm", "--shape", "bar", "--protected", "--as-recipe", "pins"]));
    keep("dies", &planned(&["--steel", "S7", "--section", "25 mm", "--as-recipe", "dies"]));
    keep("balls", &planned(&["--steel", "52100", "--section", "8 mm", "--shape", "sphere", "--as-recipe", "balls"]));
    let good = check(folder.path());
    let said = [good.stdout.as_slice(), good.stderr.as_slice()].concat();
    assert!(good.status.success(), "{}", String::from_utf8_lossy(&said));
    keep("wrong", &planned(&["--steel", "L6", "--section", "3 mm", "--as-recipe", "wrong"]).replace("\"oil\"", "\"brine\""));
    let refused = check(folder.path());
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(!refused.status.success() && said.contains("names the tank brine"), "{said}");
}
