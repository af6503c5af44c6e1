//! SCSI and NVMe over Fibre Channel, on Fibre Channel links and as FCoE.
//!
//! Class 3, so no link-level acknowledgement; a write is granted by one transfer-ready message for all of
//! its data. Left out: first bursts without transfer-ready, sense data, confirmed completion, the periodic
//! extended NVMe response (choose it for every I/O instead).

use super::framing::{self, fc_wire, fcoe_wire};
use super::plan::{FrameRun, Leg, Op, Part, Plan, Then, Toward, cut, push_run};

/// Length of the SCSI command descriptor block.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum Cdb {
    /// Up to 16 bytes.
    #[default]
    Short,
    /// 32 bytes.
    Long,
}

/// How a successful NVMe command is answered.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum NvmeResponse {
    /// The 12-byte response of zeros.
    #[default]
    Short,
    /// The extended response with the completion queue entry, 32 bytes.
    Extended,
}

/// Options of both Fibre Channel protocols.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct FcOptions {
    /// Largest data field, bytes; 256 to 2112, held to whole words within that. Default 2048, common
    /// practice without a source: 2112 less room for optional headers, in whole 512-byte blocks.
    pub data_field: u32,
    /// Length of the command; SCSI only.
    pub cdb: Cdb,
    /// The response; NVMe only.
    pub response: NvmeResponse,
}

impl Default for FcOptions {
    fn default() -> Self {
        Self {
            data_field: framing::FC_DATA_FIELD_USUAL,
            cdb: Cdb::default(),
            response: NvmeResponse::default(),
        }
    }
}

impl FcOptions {
    /// The data field within its limits, in whole words.
    #[must_use]
    pub fn field(&self) -> u32 {
        self.data_field
            .clamp(framing::FC_DATA_FIELD_MIN, framing::FC_DATA_FIELD_MAX)
            / 4
            * 4
    }
}

/// Sizes of the messages of a Fibre Channel protocol, bytes.
struct Messages {
    command: u32,
    response: u32,
}

/// Transfer-ready. FCP-3 and FC-NVMe both have 12 bytes; verified in open-source headers.
pub const TRANSFER_READY: u32 = 12;

/// `FCP_CMND` with a 16-byte (32) or 32-byte (48) CDB. FCP-3; verified in open-source headers.
#[must_use]
pub const fn scsi_command(cdb: Cdb) -> u32 {
    match cdb {
        Cdb::Short => 32,
        Cdb::Long => 48,
    }
}

/// `FCP_RSP`, good, with residual and length words (12 + 12). FCP-3; verified in open-source headers.
pub const SCSI_RESPONSE: u32 = 24;

/// NVMe command information unit: header 24, submission queue entry 64, reserved 8. FC-NVMe; verified in
/// two open-source headers.
pub const NVME_COMMAND: u32 = 24 + 64 + 8;

/// NVMe response information unit: 12 bytes of zeros, or header 16 and completion queue entry 16.
/// FC-NVMe; verified in open-source headers.
#[must_use]
pub const fn nvme_response(response: NvmeResponse) -> u32 {
    match response {
        NvmeResponse::Short => 12,
        NvmeResponse::Extended => 16 + 16,
    }
}

/// SCSI: `FCP_CMND`, for a write `FCP_XFER_RDY`, `FCP_DATA`, `FCP_RSP` (FCP-4).
pub(super) fn scsi_plan(options: &FcOptions, op: Op, size: u32) -> Plan {
    plan(
        options,
        &Messages {
            command: scsi_command(options.cdb),
            response: SCSI_RESPONSE,
        },
        op,
        size,
    )
}

/// NVMe: the same exchange with information units of FC-NVMe.
pub(super) fn nvme_plan(options: &FcOptions, op: Op, size: u32) -> Plan {
    plan(
        options,
        &Messages {
            command: NVME_COMMAND,
            response: nvme_response(options.response),
        },
        op,
        size,
    )
}

fn plan(options: &FcOptions, messages: &Messages, op: Op, size: u32) -> Plan {
    let command = |then| {
        Leg::new(
            "command",
            Toward::Array,
            vec![message(messages.command)],
            then,
        )
    };
    let mut data = Vec::new();
    for piece in cut([Part::Data(size)], options.field()) {
        push_run(&mut data, frames(piece.count, piece.payload, piece.bytes));
    }
    Plan::new(match op {
        Op::Read => {
            data.push(message(messages.response));
            vec![
                command(Then::Serve),
                Leg::new("data and response", Toward::Host, data, Then::Complete),
            ]
        }
        Op::Write => vec![
            command(Then::Next),
            Leg::new(
                "transfer ready",
                Toward::Host,
                vec![message(TRANSFER_READY)],
                Then::Next,
            )
            .ready_to_transfer(),
            Leg::new("data", Toward::Array, data, Then::Serve),
            Leg::new(
                "response",
                Toward::Host,
                vec![message(messages.response)],
                Then::Complete,
            ),
        ],
    })
}

const fn message(bytes: u32) -> FrameRun {
    frames(1, 0, bytes)
}

const fn frames(count: u32, payload: u32, field: u32) -> FrameRun {
    FrameRun {
        count,
        payload,
        native: fc_wire(field),
        fcoe: fcoe_wire(field),
    }
}
