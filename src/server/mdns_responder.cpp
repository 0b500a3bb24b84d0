#include "server/mdns_responder.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <string_view>
#include <thread>

#include <arpa/inet.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <unistd.h>

#include "server/mdns.hpp"

namespace backeddy::server {

namespace {

using Clock = std::chrono::steady_clock;
using std::chrono::milliseconds;

constexpr std::uint16_t mdns_port = 5353;
constexpr std::uint32_t mdns_group = 0xE00000FB; // 224.0.0.251
constexpr std::size_t longest_packet = 9000;
constexpr int packets_at_once = 32;
constexpr std::size_t most_rivals = 8;
/// An answer goes to all of a network at most so often (RFC 6762, section 6).
constexpr milliseconds between_answers{1000};
constexpr milliseconds between_announcements{1000};
constexpr int announcements = 3; ///< the first one asks, the others say
constexpr milliseconds look_again{15'000};

class Descriptor {
  public:
    explicit Descriptor(int number) : number_(number) {}
    ~Descriptor() {
        if (number_ >= 0) {
            ::close(number_);
        }
    }
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    [[nodiscard]] int number() const { return number_; }

  private:
    int number_;
};

template <typename Value>
bool set(int socket, int level, int option, const Value& value) {
    return ::setsockopt(socket, level, option, &value, sizeof value) == 0;
}

sockaddr_in endpoint(std::uint32_t address, std::uint16_t port) {
    sockaddr_in out{};
    out.sin_family = AF_INET;
    out.sin_port = htons(port);
    out.sin_addr.s_addr = htonl(address);
    return out;
}

std::string digits(std::uint32_t number) {
    return fmt::format("{}.{}.{}.{}", number >> 24, number >> 16 & 0xFF, number >> 8 & 0xFF, number & 0xFF);
}

/// Where we answer: one address of one interface.
struct Place {
    MachineAddress at;
    int announcements_left = announcements;
    Clock::time_point next{};                                    ///< of them
    Clock::time_point answered = Clock::now() - between_answers; ///< to all
};

struct Packet {
    std::string_view bytes;
    std::uint32_t from = 0;
    std::uint16_t port = 0;
    unsigned interface = 0;
};

} // namespace

struct MdnsResponder::Inside {
    Inside(Wish its_wish, int its_socket) : wish(std::move(its_wish)), socket(its_socket) {}

    Wish wish;
    Descriptor socket;
    Descriptor stop{::eventfd(0, EFD_CLOEXEC)};
    std::vector<Place> places;
    std::vector<std::uint32_t> rivals;
    Clock::time_point looked{};
    std::thread thread;

    void run();
    void look();
    void announce();
    [[nodiscard]] int wait_time() const;
    void receive();
    void hear(const Packet& packet);
    void hear_claim(std::uint32_t address);
    void answer(Place& place, const mdns::Heard& heard, const Packet& packet);
    void send(const Place& place, std::string_view bytes, const sockaddr_in& to) const;
    void send_to_all(const Place& place, std::string_view bytes) const {
        send(place, bytes, endpoint(mdns_group, mdns_port));
    }
};

/// Interfaces come and go: a phone's hotspot, a cable.
void MdnsResponder::Inside::look() {
    looked = Clock::now();
    auto there = wish.addresses();
    std::erase_if(there, [](const MachineAddress& each) { return !each.has_multicast; });
    std::erase_if(places,
                  [&](const Place& place) { return std::ranges::find(there, place.at) == there.end(); });
    for (const auto& each : there) {
        if (std::ranges::find(places, each, &Place::at) != places.end()) {
            continue;
        }
        ip_mreqn group{};
        group.imr_multiaddr.s_addr = htonl(mdns_group);
        group.imr_ifindex = static_cast<int>(each.interface);
        if (set(socket.number(), IPPROTO_IP, IP_ADD_MEMBERSHIP, group) || errno == EADDRINUSE) {
            places.push_back({.at = each, .next = looked});
        }
    }
}

void MdnsResponder::Inside::announce() {
    for (auto& place : places) {
        if (place.announcements_left > 0 && place.next <= Clock::now()) {
            const bool asks = place.announcements_left-- == announcements;
            send_to_all(place, asks ? mdns::question(wish.name)
                                    : mdns::answer(wish.name, {.address = place.at.number}));
            place.next = Clock::now() + between_announcements;
        }
    }
}

int MdnsResponder::Inside::wait_time() const {
    auto until = looked + look_again;
    for (const auto& place : places) {
        if (place.announcements_left > 0) {
            until = std::min(until, place.next);
        }
    }
    const auto wait = std::chrono::ceil<milliseconds>(until - Clock::now()).count();
    return static_cast<int>(std::max<std::int64_t>(wait, 0));
}

void MdnsResponder::Inside::run() {
    while (true) {
        if (Clock::now() - looked >= look_again) {
            look();
        }
        announce();
        std::array<pollfd, 2> ready{{{.fd = socket.number(), .events = POLLIN, .revents = 0},
                                     {.fd = stop.number(), .events = POLLIN, .revents = 0}}};
        ::poll(ready.data(), ready.size(), wait_time());
        if (ready[1].revents != 0) {
            break;
        }
        if (ready[0].revents != 0) {
            receive();
        }
    }
    for (const auto& place : places) {
        send_to_all(place, mdns::answer(wish.name, {.address = place.at.number, .life = 0}));
    }
}

void MdnsResponder::Inside::receive() {
    std::array<char, longest_packet> bytes{};
    for (int i = 0; i < packets_at_once; ++i) {
        sockaddr_in from{};
        iovec into{.iov_base = bytes.data(), .iov_len = bytes.size()};
        alignas(cmsghdr) std::array<char, 256> more{};
        msghdr message{};
        message.msg_name = &from;
        message.msg_namelen = sizeof from;
        message.msg_iov = &into;
        message.msg_iovlen = 1;
        message.msg_control = more.data();
        message.msg_controllen = more.size();
        const ssize_t got = ::recvmsg(socket.number(), &message, MSG_DONTWAIT);
        if (got < 0) {
            return;
        }
        Packet packet{.bytes = {bytes.data(), static_cast<std::size_t>(got)},
                      .from = ntohl(from.sin_addr.s_addr),
                      .port = ntohs(from.sin_port)};
        for (cmsghdr* each = CMSG_FIRSTHDR(&message); each != nullptr; each = CMSG_NXTHDR(&message, each)) {
            if (each->cmsg_level == IPPROTO_IP && each->cmsg_type == IP_PKTINFO) {
                in_pktinfo info{};
                std::memcpy(&info, CMSG_DATA(each), sizeof info);
                packet.interface = static_cast<unsigned>(info.ipi_ifindex);
            }
        }
        hear(packet);
    }
}

void MdnsResponder::Inside::hear(const Packet& packet) {
    const auto place = std::ranges::find_if(places, [&](const Place& each) {
        return each.at.interface == packet.interface && each.at.is_neighbour(packet.from);
    });
    if (place == places.end()) {
        return;
    }
    const auto heard = mdns::read(packet.bytes, wish.name);
    if (!heard) {
        return;
    }
    if (heard->is_answer) {
        std::ranges::for_each(heard->addresses, [&](std::uint32_t address) { hear_claim(address); });
    } else if (heard->asks_address || heard->asks_other) {
        answer(*place, *heard, packet);
    }
}

void MdnsResponder::Inside::hear_claim(std::uint32_t address) {
    const bool is_ours =
        std::ranges::any_of(places, [&](const Place& each) { return each.at.number == address; });
    if (is_ours || rivals.size() >= most_rivals || std::ranges::find(rivals, address) != rivals.end()) {
        return;
    }
    rivals.push_back(address);
    wish.say(fmt::format(
        "beware: another machine ({}) answers for {} too, and phones may ask it instead; stop the "
        "program there, or start this one with another name: --deck-name NAME",
        digits(address), wish.name));
}

void MdnsResponder::Inside::answer(Place& place, const mdns::Heard& heard, const Packet& packet) {
    const bool is_legacy = packet.port != mdns_port;
    const bool is_known = std::ranges::find(heard.addresses, place.at.number) != heard.addresses.end();
    if (is_known && !is_legacy) {
        return;
    }
    mdns::Answer what{.address = place.at.number, .is_about_other = !heard.asks_address};
    if (is_legacy) {
        what.life = mdns::legacy_life;
        what.legacy_id = heard.id;
    }
    const std::string bytes = mdns::answer(wish.name, what);
    if (is_legacy || heard.wants_unicast) {
        send(place, bytes, endpoint(packet.from, packet.port));
    } else if (Clock::now() - place.answered >= between_answers) {
        place.answered = Clock::now();
        send_to_all(place, bytes);
    }
}

void MdnsResponder::Inside::send(const Place& place, std::string_view bytes, const sockaddr_in& to) const {
    sockaddr_in target = to;
    iovec from{.iov_base = const_cast<char*>(bytes.data()), .iov_len = bytes.size()}; // only read
    alignas(cmsghdr) std::array<char, CMSG_SPACE(sizeof(in_pktinfo))> more{};
    msghdr message{};
    message.msg_name = &target;
    message.msg_namelen = sizeof target;
    message.msg_iov = &from;
    message.msg_iovlen = 1;
    message.msg_control = more.data();
    message.msg_controllen = more.size();
    cmsghdr* head = CMSG_FIRSTHDR(&message);
    head->cmsg_level = IPPROTO_IP;
    head->cmsg_type = IP_PKTINFO;
    head->cmsg_len = CMSG_LEN(sizeof(in_pktinfo));
    in_pktinfo info{};
    info.ipi_ifindex = static_cast<int>(place.at.interface);
    info.ipi_spec_dst.s_addr = htonl(place.at.number);
    std::memcpy(CMSG_DATA(head), &info, sizeof info);
    ::sendmsg(socket.number(), &message, MSG_DONTWAIT); // lost ones are asked for again
}

MdnsResponder::MdnsResponder(std::unique_ptr<Inside> inside) : inside_(std::move(inside)) {}

MdnsResponder::~MdnsResponder() {
    const std::uint64_t one = 1;
    [[maybe_unused]] const auto written = ::write(inside_->stop.number(), &one, sizeof one);
    inside_->thread.join();
}

Expected<std::unique_ptr<MdnsResponder>> MdnsResponder::start(Wish wish) {
    const int number = ::socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    auto inside = std::make_unique<Inside>(std::move(wish), number);
    const int on = 1;
    const unsigned char longest_way = 255; // RFC 6762, section 11
    const sockaddr_in here = endpoint(INADDR_ANY, mdns_port);
    const bool is_open = number >= 0 && set(number, SOL_SOCKET, SO_REUSEADDR, on) &&
                         set(number, SOL_SOCKET, SO_REUSEPORT, on) &&
                         set(number, IPPROTO_IP, IP_PKTINFO, on) &&
                         set(number, IPPROTO_IP, IP_MULTICAST_TTL, longest_way) &&
                         ::bind(number, reinterpret_cast<const sockaddr*>(&here), sizeof here) == 0;
    if (!is_open) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("phones cannot ask this machine for its name: UDP port {} ({})",
                                          mdns_port, std::strerror(errno)),
                     .expected = "the port for names in the local network, shared with what else uses it",
                     .remedy =
                         "let phones find the name by another way (the router's names), or stop what holds "
                         "the port; all else works"});
    }
    inside->thread = std::thread([working = inside.get()] { working->run(); });
    return std::unique_ptr<MdnsResponder>(new MdnsResponder(std::move(inside)));
}

} // namespace backeddy::server
