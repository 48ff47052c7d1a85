//! The tester's face: the door ([`door`]), the consignment's page with the grid ([`consignment_show`]),
//! the box ([`box_check`]), the set-up ([`session_edit`]), the tests ([`test_save`],
//! [`test_correct`]), many at once ([`grid`], [`grid_read`], [`grid_store`]), what the lab works with ([`equipment_list`], [`equipment_edit`]), the parcel
//! ([`parcel_show`], [`parcel_logger`]), a sheet for the bench ([`sheet_show`]), the machine's files
//! ([`curve_list`], [`curve_file`], [`curve_keep`]), the end ([`consignment_finish`]) and the receipt
//! ([`receipt_show`]); what a tester's programs see ([`program_pieces`], [`program_curves`],
//! [`program_equipment`], [`program_files`]), what they are asked ([`program_asks`]), and their tokens ([`token_list`]).
//!
//! Everything that a page shows comes from [`blind`], which holds what a tester may know and nothing
//! else: no handler here gives a template anything of the study itself.

mod blind;
pub(super) mod box_check;
pub(super) mod consignment_finish;
pub(super) mod consignment_show;
pub(super) mod curve_file;
pub(super) mod curve_keep;
pub(super) mod curve_list;
pub(super) mod curve_plot;
pub(super) mod curve_properties;
pub(super) mod curve_read;
pub(super) mod curve_ready;
pub(super) mod door;
pub(super) mod equipment_edit;
pub(super) mod equipment_list;
pub(super) mod grid;
pub(super) mod grid_read;
pub(super) mod grid_store;
pub(super) mod parcel_logger;
pub(super) mod parcel_show;
pub(super) mod program_asks;
pub(super) mod program_curves;
pub(super) mod program_equipment;
pub(super) mod program_files;
pub(super) mod program_pieces;
pub(super) mod receipt_show;
mod row;
pub(super) mod session_edit;
pub(super) mod sheet_show;
pub(super) mod test_correct;
pub(super) mod test_save;
pub(super) mod token_list;
