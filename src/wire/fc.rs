//! SCSI and NVMe over Fibre Channel, on Fibre Channel links and as FCoE.
//!
//! Class 3, so no link-level acknowledgement; a write is granted by one transfer-ready message for all of
//! its data, unless a first burst or a largest burst is agreed. Left out: sense data, confirmed completion,
//! the periodic extended NVMe response (choose it for every I/O instead).

use super::framing::{self, fc_wire, fcoe_wire};
use super::plan::{FrameRun, Op, Part, Plan, Then, Toward, Volley, cut, push_run};

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
    /// Most data of a write that follows the command unasked, bytes; 0 means none does. Default 0: it has to
    /// be agreed at process login (FCP-4; the bit verified in open-source headers, the size from memory).
    pub first_burst: u32,
    /// Most data of a write for one transfer-ready message, bytes, at least 512. Default all of it: common
    /// practice without a source.
    pub max_burst: u32,
}

impl Default for FcOptions {
    fn default() -> Self {
        Self {
            data_field: framing::FC_DATA_FIELD_USUAL,
            cdb: Cdb::default(),
            response: NvmeResponse::default(),
            first_burst: 0,
            max_burst: BURST_MAX,
        }
    }
}

/// The largest burst there is any use for: the largest I/O.
const BURST_MAX: u32 = 64 << 20;
/// The unit in which a first burst is agreed, and the least a transfer-ready grants here, bytes.
const BURST_MIN: u32 = 512;

impl FcOptions {
    /// Frames of a burst of data.
    fn data(&self, size: u32, runs: &mut Vec<FrameRun>) {
        for piece in cut([Part::Data(size)], self.field()) {
            push_run(runs, frames(piece.count, piece.payload, piece.bytes));
        }
    }

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
    Plan::new(match op {
        Op::Read => {
            let command = vec![message(messages.command)];
            let mut data = Vec::new();
            options.data(size, &mut data);
            data.push(message(messages.response));
            vec![
                Volley::new("command", Toward::Array, command, Then::Serve),
                Volley::new("data and response", Toward::Host, data, Then::Complete),
            ]
        }
        Op::Write => write(options, messages, size),
    })
}

/// The command with what may go unasked, then the rest burst by burst as it is granted.
fn write(options: &FcOptions, messages: &Messages, size: u32) -> Vec<Volley> {
    let after = |left: u32| if left == 0 { Then::Serve } else { Then::Next };
    let unasked = options.first_burst.min(size);
    let mut left = size - unasked;
    let mut runs = vec![message(messages.command)];
    let name = if unasked == 0 {
        "command"
    } else {
        options.data(unasked, &mut runs);
        "command and data"
    };
    let mut volleys = vec![Volley::new(name, Toward::Array, runs, after(left))];
    while left > 0 {
        let piece = left.min(options.max_burst.max(BURST_MIN));
        left -= piece;
        let grant = vec![message(TRANSFER_READY)];
        let grant = Volley::new("transfer ready", Toward::Host, grant, Then::Next);
        volleys.push(grant.ready_to_transfer());
        let mut data = Vec::new();
        options.data(piece, &mut data);
        volleys.push(Volley::new("data", Toward::Array, data, after(left)));
    }
    let response = vec![message(messages.response)];
    volleys.push(Volley::new(
        "response",
        Toward::Host,
        response,
        Then::Complete,
    ));
    volleys
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::Encapsulation;

    /// FCP-4: 64 KiB with a first burst of 8 KiB and at most 32 KiB for a transfer-ready: 4 data frames of 2108
    /// behind the command of 92, then 16 and 12 of them, each lot after a transfer-ready of 72; response 84.
    #[test]
    fn a_write_in_bursts_by_hand() {
        let options = FcOptions {
            first_burst: 8192,
            max_burst: 32_768,
            ..FcOptions::default()
        };
        let plan = scsi_plan(&options, Op::Write, 65_536);
        let volleys: Vec<(&str, u64)> = plan
            .volleys
            .iter()
            .map(|volley| (volley.name, volley.wire_bytes(Encapsulation::FibreChannel)))
            .collect();
        assert_eq!(
            volleys,
            [
                ("command and data", 92 + 4 * 2108),
                ("transfer ready", 72),
                ("data", 16 * 2108),
                ("transfer ready", 72),
                ("data", 12 * 2108),
                ("response", 84),
            ]
        );
        assert_eq!(plan.round_trips(), 3);
        // All of it unasked: no transfer-ready, one round trip.
        let whole = FcOptions {
            first_burst: 65_536,
            ..FcOptions::default()
        };
        assert_eq!(scsi_plan(&whole, Op::Write, 65_536).round_trips(), 1);
    }
}
