//! The plan of one I/O: which messages go which way, in which order, cut into which frames.
//!
//! A plan knows no time and no link: it says what has to be sent, the model decides when. Left out:
//! retransmission, flow control and connection set-up.

use super::framing::Encapsulation;

/// The largest I/O, bytes: 64 MiB. Keeps every byte count of a plan within 32 bits.
pub const SIZE_MAX: u64 = 64 << 20;

/// What an I/O does.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Op {
    /// The host fetches data.
    Read,
    /// The host stores data.
    Write,
}

/// Which way a volley goes.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Toward {
    /// From the host to the array.
    Array,
    /// From the array to the host.
    Host,
}

impl Toward {
    /// The other way.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::Array => Self::Host,
            Self::Host => Self::Array,
        }
    }
}

/// What happens when the last frame of a volley has arrived.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Then {
    /// The receiver sends the next volley at once.
    Next,
    /// The array serves the request, then sends the next volley.
    Serve,
    /// The I/O is complete.
    Complete,
}

/// Frames in a row that are alike.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct FrameRun {
    /// Frames in the run, at least 1.
    pub count: u32,
    /// Storage payload in each frame, bytes; 0 where a frame carries only headers.
    pub payload: u32,
    /// Wire bytes of each frame on the link type the protocol is at home on, gap included.
    pub native: u32,
    /// Wire bytes of each frame as tagged `FCoE`, gap included; equals `native` for anything that is not
    /// Fibre Channel.
    pub fcoe: u32,
}

impl FrameRun {
    /// Wire bytes of each frame in that encapsulation.
    #[must_use]
    pub const fn wire(&self, encapsulation: Encapsulation) -> u32 {
        match encapsulation {
            Encapsulation::Fcoe => self.fcoe,
            Encapsulation::Ethernet | Encapsulation::FibreChannel | Encapsulation::Plain => {
                self.native
            }
        }
    }
}

/// One burst of frames: what one end sends without waiting for the other.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Volley {
    /// What the burst carries, in words of the trade.
    pub name: &'static str,
    /// Which way it goes.
    pub toward: Toward,
    /// Its frames in order; never empty.
    pub runs: Vec<FrameRun>,
    /// What its arrival sets off.
    pub then: Then,
    /// Wire bytes of a pure TCP ACK, sent back for every second frame of the burst (RFC 5681 section 4.2,
    /// from memory); `None` where the transport sends none.
    pub ack_bytes: Option<u32>,
    /// Whether this is a ready-to-transfer message, which the array sends without serving anything.
    pub ready_to_transfer: bool,
}

impl Volley {
    pub(super) const fn new(
        name: &'static str,
        toward: Toward,
        runs: Vec<FrameRun>,
        then: Then,
    ) -> Self {
        Self {
            name,
            toward,
            runs,
            then,
            ack_bytes: None,
            ready_to_transfer: false,
        }
    }

    pub(super) const fn acknowledged(mut self, ack_bytes: u32) -> Self {
        self.ack_bytes = Some(ack_bytes);
        self
    }

    pub(super) const fn ready_to_transfer(mut self) -> Self {
        self.ready_to_transfer = true;
        self
    }

    /// Frames of the burst.
    #[must_use]
    pub fn frames(&self) -> u32 {
        self.runs.iter().map(|run| run.count).sum()
    }

    /// Storage payload of the burst, bytes.
    #[must_use]
    pub fn payload(&self) -> u64 {
        self.runs
            .iter()
            .map(|run| u64::from(run.count) * u64::from(run.payload))
            .sum()
    }

    /// Wire bytes of the burst in that encapsulation, pure ACKs excluded.
    #[must_use]
    pub fn wire_bytes(&self, encapsulation: Encapsulation) -> u64 {
        self.runs
            .iter()
            .map(|run| u64::from(run.count) * u64::from(run.wire(encapsulation)))
            .sum()
    }

    /// Pure ACKs that the burst draws from its receiver: half its frames, rounded down; the rest ride on
    /// later data.
    #[must_use]
    pub fn acks(&self) -> u32 {
        self.ack_bytes.map_or(0, |_| self.frames() / 2)
    }
}

/// Everything one I/O sends, in order.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Plan {
    /// The bursts in order; exactly one ends in [`Then::Serve`], the last in [`Then::Complete`].
    pub volleys: Vec<Volley>,
    /// Storage payload, bytes.
    pub payload: u64,
}

impl Plan {
    pub(super) fn new(volleys: Vec<Volley>) -> Self {
        let payload = volleys.iter().map(Volley::payload).sum();
        Self { volleys, payload }
    }

    fn toward(&self, toward: Toward) -> impl Iterator<Item = &Volley> {
        self.volleys
            .iter()
            .filter(move |volley| volley.toward == toward)
    }

    /// Frames going that way, pure ACKs excluded.
    #[must_use]
    pub fn frames(&self, toward: Toward) -> u64 {
        self.toward(toward)
            .map(|volley| u64::from(volley.frames()))
            .sum()
    }

    /// Wire bytes going that way in that encapsulation, pure ACKs excluded.
    #[must_use]
    pub fn wire_bytes(&self, toward: Toward, encapsulation: Encapsulation) -> u64 {
        self.toward(toward)
            .map(|volley| volley.wire_bytes(encapsulation))
            .sum()
    }

    /// Storage payload going that way, bytes.
    #[must_use]
    pub fn payload_toward(&self, toward: Toward) -> u64 {
        self.toward(toward).map(Volley::payload).sum()
    }

    /// Wire bytes of the pure ACKs going that way: those drawn by the bursts of the other way.
    #[must_use]
    pub fn ack_wire_bytes(&self, toward: Toward) -> u64 {
        self.toward(toward.other())
            .map(|volley| u64::from(volley.acks()) * u64::from(volley.ack_bytes.unwrap_or(0)))
            .sum()
    }

    /// Times that one end must wait for the other until the I/O is complete: half the volleys, since they
    /// alternate.
    #[must_use]
    pub fn round_trips(&self) -> usize {
        self.volleys.len().div_ceil(2)
    }

    /// Pure ACKs going that way: those drawn by the bursts of the other way.
    #[must_use]
    pub fn acks(&self, toward: Toward) -> u64 {
        self.toward(toward.other())
            .map(|volley| u64::from(volley.acks()))
            .sum()
    }
}

/// A stretch of the byte stream of a burst.
#[derive(Clone, Copy, Debug)]
pub(super) enum Part {
    /// Headers, digests, padding.
    Header(u32),
    /// Storage payload.
    Data(u32),
}

/// Pieces in a row that are alike, cut from a byte stream.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Piece {
    pub(super) count: u32,
    /// All bytes of each piece.
    pub(super) bytes: u32,
    /// Those of them that are storage payload.
    pub(super) payload: u32,
}

/// Cuts a byte stream into pieces of `limit` bytes, the last one shorter. Payload is counted by its place
/// in the stream. The cost is one step a part plus one a piece that straddles two parts.
pub(super) fn cut(parts: impl IntoIterator<Item = Part>, limit: u32) -> Vec<Piece> {
    let limit = limit.max(1);
    let mut pieces = Vec::new();
    let (mut bytes, mut payload) = (0, 0);
    for part in parts {
        let (mut left, share) = match part {
            Part::Header(length) => (length, 0),
            Part::Data(length) => (length, 1),
        };
        while left > 0 {
            if bytes == 0 && left >= limit {
                push_piece(
                    &mut pieces,
                    Piece {
                        count: left / limit,
                        bytes: limit,
                        payload: limit * share,
                    },
                );
                left %= limit;
                continue;
            }
            let taken = left.min(limit - bytes);
            bytes += taken;
            payload += taken * share;
            left -= taken;
            if bytes == limit {
                push_piece(
                    &mut pieces,
                    Piece {
                        count: 1,
                        bytes,
                        payload,
                    },
                );
                (bytes, payload) = (0, 0);
            }
        }
    }
    if bytes > 0 {
        push_piece(
            &mut pieces,
            Piece {
                count: 1,
                bytes,
                payload,
            },
        );
    }
    pieces
}

fn push_piece(pieces: &mut Vec<Piece>, piece: Piece) {
    match pieces.last_mut() {
        Some(last) if (last.bytes, last.payload) == (piece.bytes, piece.payload) => {
            last.count += piece.count
        }
        _ => pieces.push(piece),
    }
}

/// Appends a run, joined to the last one where the frames are alike.
pub(super) fn push_run(runs: &mut Vec<FrameRun>, run: FrameRun) {
    match runs.last_mut() {
        Some(last)
            if FrameRun {
                count: run.count,
                ..*last
            } == run =>
        {
            last.count += run.count
        }
        _ => runs.push(run),
    }
}

/// The size of an I/O within its limits, as the 32 bits that plans count in.
pub(super) fn within_limits(size: u64) -> u32 {
    u32::try_from(size.clamp(1, SIZE_MAX)).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn payload_is_counted_by_its_place_in_the_stream() {
        let pieces = cut([Part::Header(3), Part::Data(20), Part::Header(4)], 5);
        // HHHDD DDDDD DDDDD DDDDD DDDHH HH
        let expected = [(1, 5, 2), (3, 5, 5), (1, 5, 3), (1, 2, 0)];
        assert_eq!(
            pieces,
            expected.map(|(count, bytes, payload)| Piece {
                count,
                bytes,
                payload
            })
        );
    }

    #[test]
    fn cutting_equals_cutting_byte_by_byte() {
        // The slow way: every byte marked, then chunked.
        for (limit, lengths) in [
            (1, [3, 0, 2]),
            (4, [4, 8, 1]),
            (7, [5, 30, 6]),
            (9, [0, 9, 0]),
        ] {
            let [first, data, last] = lengths;
            let marked = [vec![0_u32; first], vec![1; data], vec![0; last]].concat();
            let slow: Vec<(usize, u32)> = marked
                .chunks(limit)
                .map(|chunk| (chunk.len(), chunk.iter().sum()))
                .collect();
            let as_u32 = |length: usize| u32::try_from(length).unwrap();
            let parts = [
                Part::Header(as_u32(first)),
                Part::Data(as_u32(data)),
                Part::Header(as_u32(last)),
            ];
            let fast: Vec<(usize, u32)> = cut(parts, as_u32(limit))
                .iter()
                .flat_map(|piece| vec![(piece.bytes as usize, piece.payload); piece.count as usize])
                .collect();
            assert_eq!(fast, slow, "limit {limit}");
        }
    }

    #[test]
    fn sizes_are_held_within_the_limits() {
        assert_eq!([within_limits(0), within_limits(7)], [1, 7]);
        assert_eq!(u64::from(within_limits(u64::MAX)), SIZE_MAX);
    }
}
