//! Arguments in, exit code out.

fn main() -> std::process::ExitCode {
    std::process::ExitCode::SUCCESS
}
