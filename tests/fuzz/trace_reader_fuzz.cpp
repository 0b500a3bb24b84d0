// Any bytes as a logger's file: detect and read. Nothing is silently dropped (rows kept and refused are the
// rows there are, lines are accounted for), streams hold what was kept in ascending time, every refusal says
// why, every failure says what to do, and neither block size nor threads change anything.

#include <cmath>
#include <string>

#include <sys/mman.h>
#include <unistd.h>

#include "fuzz/fuzz.hpp"
#include "intake/trace_reader.hpp"

using namespace backeddy;
using namespace backeddy::intake;

namespace {

// The reader takes a path: a file in memory that goes with its descriptor.
class MemoryFile {
  public:
    MemoryFile(const std::uint8_t* data, std::size_t size) : descriptor_(memfd_create("trace", 0)) {
        fuzz::require(descriptor_ >= 0, "a file in memory can be made");
        while (size > 0) {
            const auto written = write(descriptor_, data, size);
            fuzz::require(written > 0, "a file in memory can be written");
            data += written;
            size -= static_cast<std::size_t>(written);
        }
    }
    MemoryFile(const MemoryFile&) = delete;
    MemoryFile& operator=(const MemoryFile&) = delete;
    ~MemoryFile() { close(descriptor_); }
    [[nodiscard]] std::string path() const { return "/proc/self/fd/" + std::to_string(descriptor_); }

  private:
    int descriptor_;
};

void check_accounts(const TraceFile& file) {
    const ReadReport& report = file.report;
    fuzz::require(report.rows == report.kept + report.refused.size() + report.refused_not_listed,
                  "rows are kept or refused");
    const std::uint64_t accounted = report.before + report.blank + report.set_aside.size() + report.rows;
    // A row whose quoted field runs over line ends has several lines.
    const bool rows_have_one_line = file.dialect.quoting.value != Quoting::open_lines;
    fuzz::require(rows_have_one_line ? report.lines == accounted : report.lines >= accounted,
                  "every line is a row, a header, blank or set aside");
    std::uint64_t held = 0;
    for (const Trace& trace : file.streams) {
        held += trace.rows();
        fuzz::require(trace.columns.size() == trace.headers.size(), "a header for every column");
        for (const auto& column : trace.columns) {
            fuzz::require(column.size() == trace.rows(), "columns are as long as times");
            for (const double value : column) {
                fuzz::require(!std::isinf(value), "a reading is a number or missing");
            }
        }
        for (std::size_t i = 1; i < trace.rows(); ++i) {
            fuzz::require(trace.times_ns[i - 1] <= trace.times_ns[i], "times ascend");
        }
    }
    fuzz::require(held == report.kept, "streams hold what was kept");
    for (const RefusedRow& row : report.refused) {
        fuzz::require(row.line > 0 && !row.reason.text().empty(), "a refusal has its line and its reason");
    }
}

bool same(double a, double b) {
    return a == b || (std::isnan(a) && std::isnan(b));
}

void check_same(const TraceFile& a, const TraceFile& b) {
    fuzz::require(a.dialect.columns == b.dialect.columns, "the same dialect is found");
    fuzz::require(a.report.rows == b.report.rows && a.report.kept == b.report.kept &&
                      a.report.lines == b.report.lines && a.report.refused.size() == b.report.refused.size(),
                  "blocks change no count");
    fuzz::require(a.streams.size() == b.streams.size(), "blocks change no stream");
    for (std::size_t s = 0; s < a.streams.size(); ++s) {
        fuzz::require(a.ids[s].name == b.ids[s].name, "blocks change no name");
        fuzz::require(a.streams[s].times_ns == b.streams[s].times_ns, "blocks change no time");
        for (std::size_t c = 0; c < a.streams[s].columns.size(); ++c) {
            for (std::size_t r = 0; r < a.streams[s].rows(); ++r) {
                fuzz::require(same(a.streams[s].columns[c][r], b.streams[s].columns[c][r]),
                              "blocks change no value");
            }
        }
    }
    for (std::size_t i = 0; i < a.report.refused.size(); ++i) {
        fuzz::require(a.report.refused[i].line == b.report.refused[i].line &&
                          a.report.refused[i].reason == b.report.refused[i].reason &&
                          a.report.refused[i].raw == b.report.refused[i].raw,
                      "blocks change no refusal");
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const MemoryFile input(data, size);
    // A zone and a start, so that local and counted times get as far as the others.
    const ReadSettings settings{.zone = "Europe/Oslo", .start = "2026-06-14T21:05:00Z"};
    const auto whole =
        load_trace(input.path(), settings, {.threads = {.count = 1}, .hashing = Hashing::none});
    const auto blocks = load_trace(input.path(), settings,
                                   {.threads = {.count = 2}, .block_bytes = 64, .hashing = Hashing::none});
    fuzz::require(whole.has_value() == blocks.has_value(), "blocks change no verdict");
    if (!whole) {
        fuzz::require(!whole.error().text().empty() && whole.error().code != ErrorCode::our_bug,
                      "a file that cannot be read says why");
        return 0;
    }
    check_accounts(*whole);
    check_same(*whole, *blocks);
    return 0;
}
