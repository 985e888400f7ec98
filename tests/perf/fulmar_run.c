/* fulmar by hand in C: what a person would write who wants one machine, on a healthy memory, and fast.
 *
 *   fulmar_run CORE ROPE STEPS
 *
 * CORE and ROPE hold stored words of 17 bits as little-endian 32-bit integers. Runs from 0o6000 for STEPS
 * instructions or to a halt, and prints steps, time, pc, acc, extra, index, reads, writes, alarms, restarts
 * and the seconds that took. Input ports offer 0. It keeps no events and looks for no loops.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { CORE = 2048, ROPE = 24576 };
static uint32_t core[CORE], rope[ROPE];
static int64_t now, fed, reads, writes, parities, strays, dogs, restarts, outputs;
static uint32_t acc, extra, link_, bank, over, fresh = 1, shown, pc = 06000, index_;
static int raised;

static uint32_t get(uint32_t address)
{
    uint32_t word;
    if (address < 04000)
        word = core[address];
    else if (address < 06000) {
        uint32_t at = bank * 1024 + address - 04000;
        word = rope[at >= ROPE ? at - ROPE : at];
    } else
        word = rope[address - 06000];
    if (!__builtin_parity(word)) {
        parities++;
        raised = 1;
    }
    now += 10000;
    return word & 0xFFFF;
}

static uint32_t data(uint32_t address)
{
    reads++;
    return get(address & 4095);
}

static void put(uint32_t address, uint32_t word)
{
    address &= 4095;
    writes++;
    now += 10000;
    if (address < 04000)
        core[address] = word | (uint32_t)!__builtin_parity(word) << 16;
}

static int32_t value(uint32_t word)
{
    return word & 0x8000 ? (int32_t)word - 0xFFFF : (int32_t)word;
}

static uint32_t add(uint32_t a, uint32_t b)
{
    uint32_t sum = a + b;
    return (sum + (sum >> 16)) & 0xFFFF;
}

static int wide(int32_t number)
{
    return number > 32767 || number < -32767;
}

static void restart(void)
{
    restarts++;
    pc = 06000;
    fresh = over = 0;
    now += 20000;
    fed = now;
}

static int plain(uint32_t number)
{
    uint32_t kept;
    int64_t product;
    switch (number) {
    case 1: pc = link_; break;
    case 2: return 1;
    case 3: fed = now; break;
    case 4: shown = acc; break;
    case 5: pc = (pc + fresh) & 4095; break;
    case 6: pc = (pc + !over) & 4095; over = 0; break;
    case 020: index_ = acc & 4095; break;
    case 021: acc = index_; break;
    case 022: link_ = acc & 4095; break;
    case 023: acc = link_; break;
    case 024: bank = acc & 31; break;
    case 025: acc = bank; break;
    case 026: extra = acc; break;
    case 027: acc = extra; break;
    case 030: kept = acc; acc = extra; extra = kept; break;
    case 040: acc ^= 0xFFFF; break;
    case 041: acc |= extra; break;
    case 042: acc ^= extra; break;
    case 043:
        product = (int64_t)value(acc) * value(extra);
        if (product < 0)
            product += 0xFFFFFFFFLL;
        acc = (uint32_t)(product >> 16) & 0xFFFF;
        extra = (uint32_t)product & 0xFFFF;
        now += 60000;
        break;
    case 044:
        if (value(extra)) {
            int32_t top = value(acc), bottom = value(extra), q = top / bottom, r = top % bottom;
            acc = (uint32_t)(q < 0 ? q + 0xFFFF : q);
            extra = (uint32_t)(r < 0 ? r + 0xFFFF : r);
        } else {
            extra = acc;
            acc = 0xFFFF;
        }
        now += 80000;
        break;
    case 045: pc = index_; break;
    case 046: over |= wide(value(acc) + value(extra)); extra = add(acc, extra); break;
    default: strays++; raised = 1;
    }
    return 0;
}

static int small(uint32_t kind, uint32_t number)
{
    switch (kind) {
    case 1: acc = 0; break;
    case 2: outputs += number >= 1 && number <= 3; break;
    case 3: acc = number < 16 ? acc << number & 0xFFFF : 0; break;
    case 4: acc = number < 16 ? acc >> number : 0; break;
    case 5: acc = (uint32_t)((int32_t)(int16_t)acc >> (number < 16 ? number : 15)) & 0xFFFF; break;
    case 6: number &= 15; acc = (acc << number | acc >> (16 - number)) & 0xFFFF; break;
    case 7: if (number < 32) bank = number; else { strays++; raised = 1; } break;
    case 8: index_ = (index_ + number) & 4095; break;
    case 9: index_ = (index_ - number) & 4095; break;
    case 15: return plain(number);
    default: strays++; raised = 1;
    }
    return 0;
}

static int execute(uint32_t word)
{
    uint32_t a = word & 4095, other;
    switch (word >> 12) {
    case 0: return small(word >> 8 & 15, word & 255);
    case 1: acc = data(a); break;
    case 2: put(a, acc); break;
    case 3: other = data(a); over |= wide(value(acc) + value(other)); acc = add(acc, other); break;
    case 4: other = data(a); over |= wide(value(acc) - value(other)); acc = add(acc, other ^ 0xFFFF); break;
    case 5: acc &= data(a); break;
    case 6: pc = a; break;
    case 7: if (acc == 0 || acc == 0xFFFF) pc = a; break;
    case 8: if (acc & 0x8000 && acc != 0xFFFF) pc = a; break;
    case 9: link_ = pc; pc = a; break;
    case 10: acc = data(a + index_); break;
    case 11: put(a + index_, acc); break;
    case 12: if (index_) { index_--; pc = a; } break;
    case 13: acc = a & 04000 ? a | 0xF000 : a; break;
    case 14: if (acc == data(a)) pc = (pc + 1) & 4095; break;
    case 15: if (value(acc) < value(data(a))) pc = (pc + 1) & 4095; break;
    }
    return 0;
}

static void load(const char *name, uint32_t *cells, size_t count)
{
    FILE *file = fopen(name, "rb");
    if (!file || fread(cells, sizeof *cells, count, file) != count)
        exit(2);
    fclose(file);
}

int main(int argc, char **argv)
{
    struct timespec begin, end;
    int64_t steps = 0, most;
    int halted = 0;
    if (argc != 4)
        return 2;
    load(argv[1], core, CORE);
    load(argv[2], rope, ROPE);
    most = atoll(argv[3]);
    clock_gettime(CLOCK_MONOTONIC, &begin);
    while (steps < most && !halted) {
        uint32_t word;
        if (now - fed >= 2000000000) {
            dogs++;
            restart();
        }
        word = get(pc);
        pc = (pc + 1) & 4095;
        if (!raised)
            halted = execute(word);
        steps++;
        if (raised) {
            raised = 0;
            if (!halted)
                restart();
        }
    }
    clock_gettime(CLOCK_MONOTONIC, &end);
    printf("%lld %lld %u %u %u %u %lld %lld %lld %lld %.9f\n", (long long)steps, (long long)now, pc, acc, extra,
           index_, (long long)reads, (long long)writes, (long long)(parities + strays + dogs),
           (long long)restarts, (double)(end.tv_sec - begin.tv_sec) + 1e-9 * (double)(end.tv_nsec - begin.tv_nsec));
    return 0;
}
