//! What does not fit a hop is an error, and the hop is named.

use super::read_text;
use crate::scenario::render_problems;

/// A chain of three links with further keys of each, and a protocol with its options.
fn problems(links: [&str; 3], protocol: &str) -> String {
    let [first, second, third] = links;
    let text = format!(
        "format = 1\n[[host]]\nname = \"app\"\n[[switch]]\nname = \"edge\"\nfabric = \"A\"\n\
         [[switch]]\nname = \"san\"\nfabric = \"A\"\n[[array]]\nname = \"box\"\ncontrollers = 1\n\
         [[link]]\nfrom = \"app\"\nto = \"edge\"\n{first}\n[[link]]\nfrom = \"edge\"\nto = \"san\"\n{second}\n\
         [[link]]\nfrom = \"san\"\nto = \"box\"\n{third}\n[[workload]]\nname = \"w\"\nhosts = \"app\"\n\
         array = \"box\"\nprotocol = {protocol}\narrivals = {{ poisson = \"1k/s\" }}\nsizes = \"8KiB\"\n"
    );
    read_text(&text, &[]).map_or_else(|problems| render_problems(&problems), |_| String::new())
}

const ETHERNET: &str = "speed = \"25GbE\"";
const BOTH: &str = "speed = \"25GbE\"\ncarries = \"all\"";
const FIBRE: &str = "speed = \"32GFC\"";

#[test]
fn packets_larger_than_a_hop_are_an_error() {
    let jumbo = "speed = \"25GbE\"\nmtu = 9000";
    for protocol in ["iscsi", "nvme-tcp", "nvme-rdma", "nfs"] {
        let asked = format!("\"{protocol}\"\nmtu = 9000");
        let text = problems([jumbo, ETHERNET, jumbo], &asked);
        assert!(
            text.contains("packets of workload `w` do not fit link `edge-san`"),
            "{text}"
        );
        assert!(
            text.contains("at most 1500, the MTU of that link"),
            "{text}"
        );
        assert_eq!(problems([jumbo; 3], &asked), "");
    }
}

/// FC-BB-5: a field of 2048 makes packets of 2094, one of 2112 packets of 2158.
#[test]
fn fcoe_frames_larger_than_a_hop_are_an_error() {
    let narrow = "speed = \"25GbE\"\ncarries = \"all\"\nmtu = 2100";
    for protocol in ["fc-scsi", "fc-nvme"] {
        let usual = format!("\"{protocol}\"");
        assert_eq!(problems([BOTH, narrow, FIBRE], &usual), "");
        let text = problems(
            [BOTH, narrow, FIBRE],
            &format!("{usual}\ndata_field = 2112"),
        );
        assert!(
            text.contains("does not fit link `edge-san`, whose MTU is 2100"),
            "{text}"
        );
        assert!(text.contains("an MTU of at least 2158"), "{text}");
    }
}

#[test]
fn a_hop_that_a_protocol_cannot_cross_is_named() {
    let text = problems([ETHERNET, FIBRE, ETHERNET], "\"iscsi\"");
    assert!(
        text.contains("link `edge-san` is 32GFC, which iscsi cannot cross"),
        "{text}"
    );
    let text = problems([BOTH, ETHERNET, FIBRE], "\"fc-scsi\"");
    assert!(text.contains("link `edge-san` carries ip only"), "{text}");
    let only_fc = "speed = \"25GbE\"\ncarries = \"fc\"";
    let text = problems([BOTH, only_fc, only_fc], "\"nfs\"");
    assert!(
        text.contains("link `edge-san` carries fc only, and link `san-box` carries fc only"),
        "{text}"
    );
}
