/* A settings store with one record. It looks safe, for it has a checksum; but the record is overwritten in place, and a
 * write cycle that the supply cuts short leaves neither the old settings nor the new ones. */
#include "settings.h"

int main(void) {
    connect_to_bus();
    for (int start = 0; start < STARTS; start++) {
        int number = read_record(0);
        if (number == -1) {
            fputs("the settings are lost\n", stderr);
            return 1;
        }
        write_record(0, number < 0 ? 1 : number + 1);
    }
    return 0;
}
