//! The ring of end-to-end tests: the daemon as it is installed, with real Wasm drivers on real TCP, between equipment and a client
//! that we did not write. One file per behaviour, named as the behaviour.
//!
//! Nothing here measures time but generous deadlines; what must be quick is counted in frames on the wire.

mod a_command_that_says_why;
mod a_controller_with_a_will_of_its_own;
mod a_cycle_on_foreign_equipment;
mod a_demo_that_ends_well;
mod a_device_that_stops_making_sense;
mod a_door_opened_at_heat;
mod a_kill_in_mid_cycle;
mod a_reader_that_does_not_read;
mod a_recipe_from_the_planner;
mod a_service_manager;
mod a_shop_kept_by_hand;
mod a_stop_and_an_orderly_end;
mod an_alarm_that_outlives_a_kill;
mod floor;
mod hostile_guests;
mod refused_configurations;
mod the_same_bits_everywhere;
