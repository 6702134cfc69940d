/* The same store, repaired: two records in pages of their own. The older one is overwritten, so that one good record is
 * there at every moment. */
#include "settings.h"

enum { SLOT = 64 };

int main(void) {
    connect_to_bus();
    for (int start = 0; start < STARTS; start++) {
        int first = read_record(0), second = read_record(SLOT);
        if (first == -1 && second == -1) {
            fputs("the settings are lost\n", stderr);
            return 1;
        }
        int newest = first > second ? first : second;
        write_record(first > second ? SLOT : 0, newest < 0 ? 1 : newest + 1);
    }
    return 0;
}
