// Any bytes as a table of the study: the first byte chooses which. No bytes make it fail; rows are kept or
// refused; every complaint names the file and says what is wrong.

#include "fuzz/fuzz.hpp"
#include "intake/condition_tables.hpp"
#include "intake/tables.hpp"

using namespace backeddy;
using namespace backeddy::intake;

namespace {

enum class Rows { one_each, may_join };

template <typename Row>
void check(const TableRead<Row>& read, Rows rows = Rows::one_each) {
    const std::size_t kept = read.summary.rows - read.summary.refused;
    fuzz::require(read.summary.refused <= read.summary.rows, "no more rows are refused than there are");
    if (rows == Rows::one_each) {
        fuzz::require(read.rows.size() == kept, "rows are kept or refused");
    } else {
        fuzz::require(read.rows.size() <= kept, "rows that join make no more of them");
    }
    for (const study::Complaint& complaint : read.complaints) {
        fuzz::require(complaint.error.code != ErrorCode::our_bug, "what a person wrote is no bug of ours");
        fuzz::require(complaint.error.place.file == "table.csv", "a complaint names its file");
        fuzz::require(!complaint.error.found.empty(), "a complaint says what is there");
    }
    fuzz::require(read.summary.refused == 0 || !read.complaints.empty(), "no row is refused silently");
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0) {
        return 0;
    }
    const std::string_view text = fuzz::text_of(data + 1, size - 1);
    const TableContext context{.zone = "Europe/Oslo", .clock_zones = {{"boat", "Etc/UTC"}}, .edits = {}};
    const std::string file = "table.csv";
    switch (data[0] % 16) {
    case 0:
        check(read_fish(text, file, context));
        break;
    case 1:
        check(read_encounters(text, file, context));
        break;
    case 2:
        check(read_stays(text, file, context), Rows::may_join);
        break;
    case 3:
        check(read_events(text, file, context));
        break;
    case 4:
        check(read_assemblies(text, file, context));
        break;
    case 5:
        check(read_calibrations(text, file, context));
        break;
    case 6:
        check(read_clock_checks(text, file, context));
        break;
    case 7:
        check(read_decisions(text, file, context));
        break;
    case 9:
        check(read_blood(text, file, context));
        break;
    case 10:
        check(read_samples(text, file, context));
        break;
    case 11:
        check(read_plates(text, file, context));
        break;
    case 12:
        check(read_wells(text, file, context));
        break;
    case 13:
        check(read_fins(text, file, context));
        break;
    case 14:
        check(read_body(text, file, context));
        break;
    case 15:
        check(read_reflexes(text, file, context));
        check(read_fates(text, file, context));
        break;
    default:
        check(read_declarations(text, file, context));
        break;
    }
    return 0;
}
