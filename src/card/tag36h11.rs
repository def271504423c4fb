//! The open tag family 36h11: 587 codes of 6 x 6 modules, any two at least 11 modules apart in any turn.
//!
//! The codes are data of the AprilTag project (`tag36h11.c`), brought from its order of bits into
//! rows and turned by 180 degrees: that list and most vision libraries that draw the family
//! disagree by half a turn, under the same ids, and the reference card shows the latter's way up.

// The licence of the data:
//
// Copyright (C) 2013-2016, The Regents of The University of Michigan.
// All rights reserved.
//
// Redistribution and use in source and binary forms, with or without
// modification, are permitted provided that the following conditions are met:
//
// 1. Redistributions of source code must retain the above copyright notice, this
//    list of conditions and the following disclaimer.
//
// 2. Redistributions in binary form must reproduce the above copyright notice,
//    this list of conditions and the following disclaimer in the documentation
//    and/or other materials provided with the distribution.
//
// THIS SOFTWARE IS PROVIDED BY THE COPYRIGHT HOLDERS AND CONTRIBUTORS "AS IS"
// AND ANY EXPRESS OR IMPLIED WARRANTIES, INCLUDING, BUT NOT LIMITED TO, THE
// IMPLIED WARRANTIES OF MERCHANTABILITY AND FITNESS FOR A PARTICULAR PURPOSE ARE
// DISCLAIMED. IN NO EVENT SHALL THE COPYRIGHT HOLDER OR CONTRIBUTORS BE LIABLE
// FOR ANY DIRECT, INDIRECT, INCIDENTAL, SPECIAL, EXEMPLARY, OR CONSEQUENTIAL
// DAMAGES (INCLUDING, BUT NOT LIMITED TO, PROCUREMENT OF SUBSTITUTE GOODS OR
// SERVICES; LOSS OF USE, DATA, OR PROFITS; OR BUSINESS INTERRUPTION) HOWEVER
// CAUSED AND ON ANY THEORY OF LIABILITY, WHETHER IN CONTRACT, STRICT LIABILITY,
// OR TORT (INCLUDING NEGLIGENCE OR OTHERWISE) ARISING IN ANY WAY OUT OF THE USE
// OF THIS SOFTWARE, EVEN IF ADVISED OF THE POSSIBILITY OF SUCH DAMAGE.

/// Modules of data along a side of a tag.
pub const DATA_MODULES: usize = 6;

/// Least number of modules in which two tags of the family differ, in whatever turns.
pub const MIN_DISTANCE: u32 = 11;

/// The codes by id, as 6 x 6 rasters row by row, first module in the highest of 36 bits, 1 = white.
#[rustfmt::skip]
pub const CODES: [u64; 587] = [
    0x21a146bab, 0x92d18fe9b, 0x7089014bb, 0x193979e27, 0x44153d3d7, 0x35cd5b8cf, 0xa10ba56a0,
    0x2b874a608, 0xb57fb8d44, 0x4e20b5a64, 0x61d897f2c, 0xab3469ffc, 0x594ca45c2, 0xfa1c2d2e2,
    0x97c24b972, 0x75928624a, 0x1caafe99a, 0x3236ddc16, 0x884e527d6, 0x5771a8c7e, 0xf52925b81,
    0x2e59cc1a1, 0x7fa58ab31, 0xeb43384f9, 0x3913d5345, 0xd79b1a3b5, 0x0dfbe768d, 0x5cd7a031d,
    0xb9c8f7a4b, 0x46987e06b, 0x6e0c5d527, 0x5bc567bb4, 0x1e6302bc2, 0x8ac7d046a, 0xa65fe2326,
    0x5400eb616, 0xf7a066836, 0x2dd0afdf6, 0x3b9cb60b1, 0xad6a1caf9, 0x93b62efb5, 0xbb210d93d,
    0xdee55094b, 0xa0cd1479b, 0x2a23abb27, 0x4f67f4b5f, 0x58a815818, 0x743427d64, 0x1dec40874,
    0x892ab3a02, 0x38d5742ee, 0x0c43567a1, 0x5db311cb1, 0xc957ca1f9, 0xa22457823, 0x29ace98f3,
    0xccc52c528, 0xda8b3578c, 0xd5b4b9e36, 0xac9cdd3ce, 0xcbdaa8391, 0x1986256b1, 0xbae6cc889,
    0xdf91b10e5, 0xa1a9d5a75, 0x2b651aa9d, 0x4d5c2e19d, 0x5b163736b, 0xf753d60a8, 0x5e84b37d2,
    0xfce43a9f2, 0xbb926d1a6, 0xed8d236e5, 0x6af846f37, 0xea56a5138, 0x5d497146c, 0x470360eca,
    0x8c4bcd67a, 0x295f3901e, 0xf6b577e97, 0x520602f5a, 0xb5119492e, 0x48e299ab7, 0xb79f5737a,
    0xa814c683e, 0x2da900583, 0xd4aba4797, 0x982a0e65c, 0xf480ccc15, 0x0b20ea732, 0xa9506710a,
    0x0486e2ee1, 0xb0a972615, 0xe73f3a257, 0x17e205b98, 0xec9ab2b24, 0xd9339e076, 0xeb8874f99,
    0x9420a55cc, 0xe364ff992, 0x8a4cb8f0a, 0xf72aee766, 0x73cc6b569, 0xc99ca6a59, 0x366a0c535,
    0x509e51943, 0xba6d227d1, 0xd2acf163b, 0xd989fef68, 0x641707bb2, 0xf9bd312ab, 0x77739c207,
    0x68bf8d1bf, 0xdedd84a6e, 0x42eaec49b, 0x302b68d53, 0x4ebb930ce, 0x439c5d9b5, 0xe1fc9228d,
    0xf8a6a8d4a, 0xb53902a18, 0xb163475ee, 0xad2f5af29, 0xaab5dc850, 0xb3ec25786, 0x4799c4405,
    0x8bc68dc04, 0x702f15dde, 0xb42293da9, 0x1acad0382, 0x813363971, 0x0e692ad70, 0x8ad05c5b9,
    0x85e654c1b, 0x3d0ac2b3b, 0x4bbfa0552, 0x722dde306, 0x369d1acd2, 0xa2d994e60, 0x5fad9139d,
    0x57535ae96, 0x5f5ef1d46, 0xebc3e6acc, 0x0a99c835d, 0x5463e49a5, 0x25676893a, 0xabed37064,
    0x59bdded94, 0x64fa04c09, 0x250e44e75, 0xe58a374bc, 0x24caa5741, 0xe42cf6588, 0x6ea238538,
    0xf75813025, 0x0ceb33bbd, 0x786ae8670, 0xf0de8c969, 0x26c81efe6, 0x69f489086, 0x3fbf92a4d,
    0xd6555a760, 0x9ccae236d, 0xb256c16a3, 0xd78ac7221, 0x2dc1fe262, 0xaf2051090, 0x932c08afe,
    0x53feca775, 0x5d292497a, 0x2f101a22b, 0xc6ad16b14, 0xd2eca4b20, 0xa6fa603d4, 0x3057c3b69,
    0xe817b54d2, 0x40abfc3e0, 0xf53ad16e7, 0x36f3a06e8, 0x27782e418, 0x3e9062146, 0x01fd7ad4e,
    0xc8765bc64, 0xad3d8215f, 0x96317a27e, 0x05f813ca6, 0x0e7adc22e, 0xbf52c4a50, 0x724f6ae2e,
    0x540fd7ea8, 0x9c962f741, 0x264042b01, 0x197cb7754, 0x1f2bb850d, 0xc87d6c2ad, 0xdc8d2dede,
    0xcb6b01738, 0xbe4210368, 0xbb4622a77, 0x733226ef8, 0x4933ade39, 0x1f1c896c7, 0x897665aba,
    0x92f46ba12, 0x297981767, 0xad702cf8d, 0x473198b90, 0xec2e8e06b, 0x36a1d6980, 0xa5ce8650f,
    0x637870348, 0xf3ab41d46, 0xe6032a8b5, 0x4c11eec73, 0x261de50d6, 0x296616e32, 0x37cff1a0a,
    0xc457847ab, 0x776e52ff9, 0x980819bb9, 0x50cb2b5d8, 0x8b6918063, 0x12d9c2ce9, 0x158c2e738,
    0x6b84015ea, 0x67695db9f, 0x3e72745c1, 0x01ca1a571, 0x22e7036f5, 0xd5dcedae1, 0x809532c5b,
    0xf7e4e9d54, 0x59d84f9cb, 0xf42ed0851, 0x5db4a91fa, 0x0d58e5b1f, 0x69fb9fa43, 0x29ba51f60,
    0x587c67427, 0xd8b9021ed, 0xbb594449e, 0xaa231f35a, 0x0d95943f4, 0xdec461257, 0x05a16930d,
    0xe2512eb58, 0xab48e2dc0, 0x0cb68494f, 0x927a6b5b1, 0xbb90f3450, 0x632e8fad0, 0xc2eeaf2a7,
    0x1eb2af39d, 0x511548c52, 0x4693d5de4, 0x888e9161d, 0x68836ff4f, 0x51bd2e441, 0x7a0ac40e9,
    0x8bb762b4a, 0x1caf83a1a, 0xc2700bbbd, 0xfb2ed09aa, 0xf8520294e, 0x7aa104ca6, 0x6a96d2bcb,
    0x28f2ec75e, 0x607065eb4, 0x7ad9b3a8c, 0x3572d6cbf, 0xd426efb8f, 0x64ee4dbaa, 0x983d7a8f1,
    0x8ca31f499, 0x025457b46, 0xd53ae4149, 0x9d3c64396, 0x795332ee5, 0x70884d664, 0x1dd3528d8,
    0xd8e51d246, 0xd6029ca38, 0xd94ab610c, 0x766bb8880, 0xfd0c6b319, 0x3bff8b9d1, 0xe786f4d4e,
    0xd4e6b9b79, 0xcfa8bb369, 0x20a4366c6, 0x5cefb9536, 0x0f06b6605, 0xbb51d25e7, 0xf7e262641,
    0x81fda9855, 0x2241dbc59, 0x56fb4b280, 0xeda64c6d0, 0xce7b080f4, 0x6192ee7e9, 0x943ff5124,
    0x88b3beadf, 0x9b27e58d0, 0xbe0b45fd2, 0x69fb3a72a, 0x61383a832, 0x6688639b3, 0x54d01c992,
    0x90b10c02a, 0xf667fc6d1, 0x7acd75813, 0x3abd07f61, 0x543012473, 0x067794d58, 0xa855b1201,
    0x9cb4d7fdb, 0x31a193e6a, 0x3da3b76d4, 0x4153f1e04, 0x5544335b5, 0x92f61249d, 0x269a35f8a,
    0x042677896, 0x9487cdc6f, 0x4ea7e7d9c, 0x2e367345b, 0x3a5e8f304, 0x76d9faa77, 0x64e4ea1df,
    0x12a7b434d, 0x4973d9553, 0xcdb418975, 0x8bda76d2e, 0xf54a4dec8, 0x811616f8a, 0x4036f4e6b,
    0x2736282a6, 0xa413d229f, 0x901fe4c17, 0x9abfce56e, 0x2d325b9ef, 0xd9901f6a9, 0x3aa64fade,
    0x65288d60b, 0x0a53e960b, 0xe9e09c3e4, 0x4d9b7863d, 0xd98bb4833, 0x34b181ed7, 0x5b373f490,
    0x8572b7b91, 0x2c5d056a4, 0xe4671296d, 0x2a08d6f78, 0x452949c61, 0x2501ec5b7, 0xb8f54779c,
    0xa3b7ea4b3, 0x443d6b9b4, 0xbe2dcb848, 0xb51fc47ec, 0x6f38cf988, 0x90f2fe934, 0x07fd540ab,
    0xee53c3d08, 0xf7098ebca, 0x65467c309, 0xae6fd797e, 0x8bc4739e9, 0x971930fe4, 0x9a752df57,
    0xbd47fe53e, 0x6f1530928, 0x5de1cc489, 0x111ce3dcd, 0xa4c7e157c, 0x552691112, 0x9d6511805,
    0x6663c1cb3, 0xbfc594002, 0x3a3500387, 0x76d4f679c, 0x446f2667b, 0x17ae59e97, 0x36132d63e,
    0x8e07492bf, 0x188acddf1, 0xed9052d02, 0x5b6bd01f5, 0x84a4d070e, 0xc9b2a3af4, 0xab18852fc,
    0x9de918390, 0x3576ee9e0, 0xe8d00d210, 0x709b5a95c, 0xa9022a314, 0xa03ea2b9c, 0x1e589ec5e,
    0x74470eedd, 0x36bd44159, 0xb7f8d2516, 0xdcde4bfa5, 0x9eda99c30, 0x8ffb98a8b, 0x9ac777e71,
    0x8d0a53cb3, 0xc9ed1dced, 0xc238535ea, 0xee4aa6437, 0xcd8345a1e, 0x5a19e05ae, 0x96d780d25,
    0xe2c885185, 0xc5314f8db, 0xa47c37ee1, 0x1d82c6f8c, 0x325c5c6c8, 0x5d9d1bae0, 0x9549e075e,
    0x8a6845c15, 0xadf9f10fe, 0x95cef30b0, 0x71933b20d, 0x1f0de3a6f, 0x596f5bba6, 0xcd61d9f34,
    0xa478ad328, 0xdade4012f, 0xd15764370, 0x3a2bf5d22, 0x2303e348d, 0x41b9bf9a9, 0x5a4e93ee3,
    0x462b44512, 0x4e01719c1, 0x73a0d9137, 0x932b416dd, 0xff4b615a7, 0x2c880f1ac, 0x6f3bb6aa1,
    0x476d21ae6, 0xf9c290688, 0x768111210, 0x623458f55, 0xf31919e1f, 0xef47a7dd1, 0xc6c777808,
    0xeec96f096, 0x9b3c9bdaf, 0x6fd432573, 0x60e7d0aa9, 0x0651cda34, 0xe2acc04e7, 0x9460d1a22,
    0x82b79b177, 0x4eb189f4b, 0xcbf9c3b1e, 0x6f6c64841, 0xe54e50a2e, 0x632f30f23, 0xb3bb3de6c,
    0x6331f5383, 0xbca1dafe5, 0xd1816cab9, 0x0d8407aca, 0x794e1d7e5, 0x92de65442, 0x651497949,
    0x33f751712, 0x3c9ce9195, 0x7ecb81d7a, 0xede140178, 0xc09b0ee2c, 0x14e61f774, 0x6d336649a,
    0x865dd0880, 0xf7214bfb8, 0xd8b9c2e22, 0x99a70737f, 0xc0ecf90c9, 0xbb8b26e01, 0x05678fcac,
    0x33b483834, 0xeb9d84b83, 0x7ca277ea2, 0x02af5f66b, 0x4a678c122, 0x121592bf3, 0xcc82b48c9,
    0x77cbe90fc, 0x5ef7d7931, 0x117947995, 0x344d5f970, 0xdf2f12e72, 0x114277b37, 0x0b8fa73d5,
    0x36e16f423, 0x057402b7e, 0xc342423a7, 0x758c34dab, 0x67dc61614, 0x29b222068, 0x7101af0fa,
    0x54d22bc75, 0x908ba3af9, 0xeb68c9b51, 0x2605d442c, 0x6ab88b7f4, 0x207c7657d, 0x377940d20,
    0xac2eb77b6, 0x3e87318ec, 0x47afea1aa, 0x46de35b74, 0x48a36ba10, 0xf0711536b, 0x963f87ed4,
    0xd83ab9965, 0x7b2eb5a0f, 0xb6adfaf32, 0x87e07a4ea, 0x7b4518f4e, 0x9064a3738, 0x3c242ca12,
    0x96b25c4a4, 0x8b01d83ac, 0xe51cceb25, 0x480f58db0, 0xbae295867, 0x89fc0fba0, 0xdd06475e9,
    0xf7fe46b4c, 0x43cef026d, 0x6393585a2, 0x87b404456, 0x4fa47cbea, 0x7619f955a, 0x51b9a1330,
    0x1533637c7, 0x7587a972a, 0x60de11622, 0x7d4ce68ae, 0xaf135e81c, 0x31c9b647c, 0xac43d8155,
    0xd853e1cfb, 0x4fcdc5cf0, 0xee696fd2d, 0xb71618475, 0xb9b4b8781, 0x328579505, 0x95e947771,
    0x9aa0302e2, 0xec1828d17, 0xbc5079635, 0x8785c1b79, 0xd37aadb7a, 0x817f02ce0, 0xfd63dfb0a,
    0x510ac1af2, 0x3d1edf8d3, 0xf4b73a402, 0x37d789e9c, 0x8f11c77ca, 0xc4bd036be, 0x7dfa995c9,
    0x7b14e8251, 0xca070e7f4, 0x5c22dbcd5, 0xa0db726c8, 0x6b7776de2, 0x80f58e748, 0xe1ac1ff4a,
    0x1bbaea85c, 0x26ac557fc, 0xe5d1ef357, 0x1f29d4e10, 0x459fbb15b, 0xd4b049559, 0x6cb70acf8,
    0xf8617a518, 0xc391dac34, 0x51235e2cc, 0x74407c4fe, 0xdf1609a24, 0xced27dc17,
];

/// Whether the data module in `row` and `column` (from 0, from the top left) of a code is white.
pub const fn is_white(code: u64, row: usize, column: usize) -> bool {
    code >> (DATA_MODULES * DATA_MODULES - 1 - (row * DATA_MODULES + column)) & 1 == 1
}

/// The code as it reads when the tag is turned by 90 degrees clockwise.
pub fn turned_clockwise(code: u64) -> u64 {
    let cells = (0..DATA_MODULES).flat_map(|row| (0..DATA_MODULES).map(move |column| (row, column)));
    cells.fold(0, |turned, (row, column)| {
        turned << 1 | u64::from(is_white(code, DATA_MODULES - 1 - column, row))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The family's published promise, over all pairs and turns; a slip of one bit would break it.
    #[test]
    fn any_two_tags_differ_by_at_least_eleven_modules_in_any_turn() {
        for (id, &code) in CODES.iter().enumerate() {
            let turns: Vec<u64> =
                std::iter::successors(Some(code), |&c| Some(turned_clockwise(c))).take(4).collect();
            assert!(turns[1..].iter().all(|turn| (turn ^ code).count_ones() >= 12), "id {id} against itself");
            for other in &CODES[id + 1..] {
                assert!(turns.iter().all(|turn| (turn ^ other).count_ones() >= MIN_DISTANCE), "id {id}");
            }
        }
    }

    /// First 20 ids: the code list of the AprilTag repository (commit 1c21707a) beside the rasters that
    /// OpenCV 5.0.0 draws for its dictionary of this family.
    #[test]
    fn the_first_tags_agree_with_the_published_list_turned_by_half() {
        let table = include_str!("../../fixtures/check/tag36h11.csv");
        let mut seen = 0;
        for row in csv::Reader::from_reader(table.as_bytes()).records().map(Result::unwrap) {
            let id: usize = row[0].parse().unwrap();
            let hex = |field: usize| u64::from_str_radix(row[field].trim_start_matches("0x"), 16).unwrap();
            assert_eq!(CODES[id], hex(5), "id {id} as vision libraries draw it");
            assert_eq!(turned_clockwise(turned_clockwise(CODES[id])), hex(3), "id {id} as the list has it");
            seen += 1;
        }
        assert_eq!(seen, 20);
    }

    /// The four tags as the card's specification prints them.
    #[test]
    fn the_card_shows_its_tags_this_way_up() {
        let card = [
            "001000 011010 000101 000110 101110 101011",
            "100100 101101 000110 001111 111010 011011",
            "011100 001000 100100 000001 010010 111011",
            "000110 010011 100101 111001 111000 100111",
        ];
        for (id, rows) in card.iter().enumerate() {
            for (row, bits) in rows.split(' ').enumerate() {
                for (column, bit) in bits.bytes().enumerate() {
                    assert_eq!(is_white(CODES[id], row, column), bit == b'1', "id {id}, row {row}, {column}");
                }
            }
        }
    }
}
