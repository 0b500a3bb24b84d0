#include "intake/detail/plan.hpp"

#include <algorithm>

namespace backeddy::intake {

std::string_view in_brackets(Origin origin) {
    return origin == Origin::set ? "(set)" : "(guessed)";
}

namespace {

void place(Plan& plan, const ColumnFinding& column) {
    const std::size_t field = column.index - 1;
    switch (column.use) {
    case ColumnUse::time:
        plan.time = field;
        break;
    case ColumnUse::date:
        plan.date = field;
        break;
    case ColumnUse::time_of_day:
        plan.time_of_day = field;
        break;
    case ColumnUse::half_day:
        plan.half_day = field;
        break;
    case ColumnUse::chamber:
        plan.chamber = field;
        break;
    case ColumnUse::ignore:
        return;
    default:
        plan.readings.push_back({.field = field,
                                 .unit = column.unit,
                                 .header = {.channel = column.channel, .kind = column.kind},
                                 .name = column.header});
    }
    plan.last_used = std::max(plan.last_used, field);
}

} // namespace

Expected<Plan> make_plan(std::string file, const ReadSettings& settings, const Dialect& dialect) {
    Plan plan;
    plan.file = std::move(file);
    plan.source = settings.source;
    plan.form = {.encoding = dialect.encoding.value,
                 .line_end = dialect.line_end.value,
                 .first_byte = dialect.first_data_byte};
    plan.delimiter = dialect.delimiter.value;
    plan.quoting = dialect.quoting.value;
    plan.decimal = dialect.decimal.value == DecimalMark::comma ? ',' : '.';
    plan.fields = dialect.fields;
    plan.fewest_fields = dialect.fewest_fields;
    plan.time_form = dialect.time_form.value;
    plan.date_order = dialect.date_order.value;
    plan.start_ns = dialect.start_ns.value;
    if (!dialect.zone.value.empty()) {
        auto zone = Zone::named(dialect.zone.value);
        if (!zone) {
            return fail(std::move(zone).error().at({.file = plan.file}));
        }
        plan.zone = *zone;
        plan.has_zone = true;
    }
    for (const auto& column : dialect.columns) {
        place(plan, column);
    }
    plan.dialect = dialect;
    const bool has_time = plan.time || (plan.date && plan.time_of_day);
    if (!has_time || plan.readings.empty()) {
        return fail({.code = ErrorCode::missing_column,
                     .found = has_time ? "no column is a reading" : "no column is the time",
                     .expected = "a column of times and at least one of readings",
                     .remedy = "say what the columns are in [[trace.column]]",
                     .place = {.file = plan.file}});
    }
    return plan;
}

} // namespace backeddy::intake
