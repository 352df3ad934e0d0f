//! What `wit-bindgen` makes of the contract: one world per face, so that an author exports any subset without writing a
//! world of his own (the encoder merges them into one component). All worlds share the types of `base`.
//!
//! Authors take the types from the crate's root and the traits from there too; this module is public only because the
//! export macros expand in the author's crate.

/// The imports, and the required interface `driver`.
#[expect(missing_docs, reason = "generated; the contract's own comments are carried over, the scaffolding has none")]
pub mod base {
    wit_bindgen::generate!({
        path: "../wit/v0_1",
        world: "base",
        pub_export_macro: true,
        export_macro_name: "export_base",
        default_bindings_module: "hearthward_driver::bindings::base",
        runtime_path: "::hearthward_driver::wit_bindgen::rt",
        additional_derives: [PartialEq],
    });
}

/// The face `furnace`.
#[expect(missing_docs, reason = "generated; the contract's own comments are carried over, the scaffolding has none")]
pub mod furnace {
    wit_bindgen::generate!({
        path: "../wit/v0_1",
        world: "furnace-face",
        pub_export_macro: true,
        export_macro_name: "export_furnace",
        default_bindings_module: "hearthward_driver::bindings::furnace",
        runtime_path: "::hearthward_driver::wit_bindgen::rt",
        additional_derives: [PartialEq],
        with: {
            "hearthward:equipment/types@0.1.0": super::base::hearthward::equipment::types,
            "hearthward:equipment/line@0.1.0": super::base::hearthward::equipment::line,
            "hearthward:equipment/shop-clock@0.1.0": super::base::hearthward::equipment::shop_clock,
            "hearthward:equipment/log@0.1.0": super::base::hearthward::equipment::log,
        },
    });
}

/// The face `flow-meter`.
#[expect(missing_docs, reason = "generated; the contract's own comments are carried over, the scaffolding has none")]
pub mod flow_meter {
    wit_bindgen::generate!({
        path: "../wit/v0_1",
        world: "flow-meter-face",
        pub_export_macro: true,
        export_macro_name: "export_flow_meter",
        default_bindings_module: "hearthward_driver::bindings::flow_meter",
        runtime_path: "::hearthward_driver::wit_bindgen::rt",
        additional_derives: [PartialEq],
        with: {
            "hearthward:equipment/types@0.1.0": super::base::hearthward::equipment::types,
            "hearthward:equipment/line@0.1.0": super::base::hearthward::equipment::line,
            "hearthward:equipment/shop-clock@0.1.0": super::base::hearthward::equipment::shop_clock,
            "hearthward:equipment/log@0.1.0": super::base::hearthward::equipment::log,
        },
    });
}

/// The face `quench-tank`.
#[expect(missing_docs, reason = "generated; the contract's own comments are carried over, the scaffolding has none")]
pub mod quench_tank {
    wit_bindgen::generate!({
        path: "../wit/v0_1",
        world: "quench-tank-face",
        pub_export_macro: true,
        export_macro_name: "export_quench_tank",
        default_bindings_module: "hearthward_driver::bindings::quench_tank",
        runtime_path: "::hearthward_driver::wit_bindgen::rt",
        additional_derives: [PartialEq],
        with: {
            "hearthward:equipment/types@0.1.0": super::base::hearthward::equipment::types,
            "hearthward:equipment/line@0.1.0": super::base::hearthward::equipment::line,
            "hearthward:equipment/shop-clock@0.1.0": super::base::hearthward::equipment::shop_clock,
            "hearthward:equipment/log@0.1.0": super::base::hearthward::equipment::log,
        },
    });
}

/// The face `points`.
#[expect(missing_docs, reason = "generated; the contract's own comments are carried over, the scaffolding has none")]
pub mod points {
    wit_bindgen::generate!({
        path: "../wit/v0_1",
        world: "points-face",
        pub_export_macro: true,
        export_macro_name: "export_points",
        default_bindings_module: "hearthward_driver::bindings::points",
        runtime_path: "::hearthward_driver::wit_bindgen::rt",
        additional_derives: [PartialEq],
        with: {
            "hearthward:equipment/types@0.1.0": super::base::hearthward::equipment::types,
            "hearthward:equipment/line@0.1.0": super::base::hearthward::equipment::line,
            "hearthward:equipment/shop-clock@0.1.0": super::base::hearthward::equipment::shop_clock,
            "hearthward:equipment/log@0.1.0": super::base::hearthward::equipment::log,
        },
    });
}

/// The optional power `identify`.
#[expect(missing_docs, reason = "generated; the contract's own comments are carried over, the scaffolding has none")]
pub mod identify {
    wit_bindgen::generate!({
        path: "../wit/v0_1",
        world: "identify-face",
        pub_export_macro: true,
        export_macro_name: "export_identify",
        default_bindings_module: "hearthward_driver::bindings::identify",
        runtime_path: "::hearthward_driver::wit_bindgen::rt",
        additional_derives: [PartialEq],
        with: { "hearthward:equipment/types@0.1.0": super::base::hearthward::equipment::types },
    });
}
