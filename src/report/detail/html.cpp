#include "report/detail/html.hpp"

#include "report/detail/json_stream.hpp"

namespace backeddy::report::detail {

std::string html(std::string_view text) {
    std::string out;
    for (const char c : valid_utf8(text)) {
        switch (c) {
        case '&':
            out += "&amp;";
            break;
        case '<':
            out += "&lt;";
            break;
        case '>':
            out += "&gt;";
            break;
        case '"':
            out += "&quot;";
            break;
        case '\'':
            out += "&#39;";
            break;
        case '\0':
            out += "\xEF\xBF\xBD";
            break;
        default:
            out += c;
        }
    }
    return out;
}

std::string base64(std::string_view bytes) {
    constexpr std::string_view digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string out;
    for (std::size_t i = 0; i < bytes.size(); i += 3) {
        const std::size_t left = bytes.size() - i;
        const auto byte = [&](std::size_t k) {
            return k < left ? static_cast<unsigned>(static_cast<unsigned char>(bytes[i + k])) : 0U;
        };
        const unsigned word = (byte(0) << 16U) | (byte(1) << 8U) | byte(2);
        out += digits[(word >> 18U) & 63U];
        out += digits[(word >> 12U) & 63U];
        out += left > 1 ? digits[(word >> 6U) & 63U] : '=';
        out += left > 2 ? digits[word & 63U] : '=';
    }
    return out;
}

} // namespace backeddy::report::detail
