//! The thin binary: hand the arguments to the library, exit with its code.

fn main() -> std::process::ExitCode {
    halfloom::cli::run(std::env::args_os()).into()
}
